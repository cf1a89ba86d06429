//! What a scraper reads: from a snapshot and the verdict to numbers with names, in OpenMetrics or the older text form.
//!
//! In order: `board` (what there is to tell, nothing that names the site's owner, its addresses or its hosts), `table`
//! (every name, its unit, labels and meaning: an interface, documented in `names.md`), `form` (which text form a scraper
//! prefers), `text` (the table filled in). Standards: OpenMetrics 1.0.0, the text exposition format 0.0.4. Pure: `serve`
//! has the socket. Judges nothing: unknown is told apart from down.
//!
//! Labels are bounded: lanes, states, causes, verdicts, actors. No label holds text from the network.
//!
//! # Names
//!
#![doc = include_str!("names.md")]

mod board;
mod form;
mod table;
mod text;

pub use board::{Board, LaneRow, PathState, Supervised};
pub use form::Form;
pub use table::{Kind, Metric, TABLE};
pub use text::exposition;
