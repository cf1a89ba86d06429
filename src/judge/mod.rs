//! The judge: from observations to a verdict. Pure.
//!
//! Knows no clock, socket, file, thread or random source; it is told the time with every [`Entry`]. Live, replay and
//! simulation run the same fold ([`fold::Judge`]), so a stored week judged again gives the same verdict.
//!
//! In the order data flows: `time` and `observation` (what comes in), `settings` and `requirement` (what it is judged
//! by), `link`, `standing` and `lane` (from observations to `span`s), `cause` (which span explains which), `tally`
//! (counts and times), `stats` (bounds), `fold` (all of it, one entry at a time), `outage` (what counts and what is left
//! out), `prior` (what is believed before watching), `thresholds` (how sure a look must be), `verdict`; for the reader
//! besides: `delivering`, `supervision`, `flaps`, `outlook`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod cause;
pub mod delivering;
pub mod flaps;
pub mod fold;
pub mod lane;
pub mod link;
pub mod observation;
pub mod outage;
pub mod outlook;
pub mod prior;
pub mod requirement;
pub mod settings;
pub mod span;
pub mod standing;
pub mod stats;
pub mod supervision;
pub mod tally;
pub mod thresholds;
pub mod time;
pub mod verdict;

pub use cause::{Actor, Cause, Clue, Trouble};
pub use fold::{Judge, Look};
pub use observation::*;
pub use outage::Outage;
pub use prior::{Access, Prior, Recalled};
pub use settings::{Known, Planned, Settings};
pub use span::{LaneState, Oddity, Span};
pub use time::{Edge, Micros, Moment, WallTime};
pub use verdict::{Judgement, Standing, VerdictKind};
