//! The site file: what is known of the site before measuring.
//!
//! In order: `keys` (the one table of what a site file may say), `value` (one value read and checked), `model` (what a
//! checked file says), `load` (text to model, or every problem found), `cadence` (floors and defaults), `host` (what this
//! host knows), `resolve` (all of it to the plan), `signs` (which signs of lost power are looked for), `announce` (the
//! plan in words, before the first packet), `plan` (what the agent will do, every value settled), `requirements` (named
//! thresholds). `config/site.toml`, the commented file, is written from the table by `tests/site/template.rs`.

pub(crate) mod announce;
mod announce_between;
pub mod cadence;
pub(crate) mod host;
pub mod keys;
pub mod load;
pub(crate) mod model;
pub mod plan;
pub mod requirements;
pub mod resolve;
pub(crate) mod signs;
pub mod value;

pub use announce::announce;
pub use host::HostFacts;
pub use load::{Problem, load};
pub use model::{Activation, SiteFile};
pub use plan::*;
pub use resolve::{Settled, resolve, resolve_at};
