//! The judge: from observations to a verdict. Pure.
//!
//! Knows no clock, socket, file, thread or random source; it is told the time with every [`Entry`]. Live, replay and
//! simulation run the same fold ([`fold::Judge`]), so a stored week judged again gives the same verdict.
//!
//! In the order data flows: `time` and `observation` (what comes in), `settings` and `requirement` (what it is judged
//! by), `roster` (who is asked what), `link`, `standing` and `lane` with `tempo` and `runs` (from observations to
//! `span`s), `power` and `ground` (what stands beside the lanes, and what changed), `pattern` (what follows a clock), `cause` (which span
//! explains which, and why), `tally` (counts and times), `stats` (bounds), `fold` (all of it, one entry at a time), `outage`
//! (what counts and what is left out), `prior` (what is believed before watching), `mending` (what still asks for it),
//! `course` (how a target fared over time), `thresholds` (how sure a look must be), `drill` (what was done on purpose, and
//! what it measured), `verdict`; for the reader besides: `delivering`, `supervision`, `flaps`, `outlook`, `detection`, `lengths`,
//! `turning`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod answer;
pub mod between;
pub mod cause;
pub mod course;
pub mod delivering;
pub mod detection;
pub mod drill;
pub mod flaps;
pub mod fold;
pub mod ground;
#[cfg(test)]
pub(crate) mod kit;
pub mod lane;
pub mod lengths;
pub mod link;
pub mod mending;
pub mod observation;
pub mod outage;
pub mod outlook;
pub mod pattern;
pub mod power;
pub mod prior;
pub mod requirement;
pub mod roster;
mod runs;
pub mod settings;
pub mod span;
pub mod standing;
pub mod stats;
pub mod supervision;
pub mod tally;
pub mod tempo;
pub mod thresholds;
pub mod time;
pub mod timeline;
pub mod turning;
pub mod verdict;

pub use cause::{Actor, Cause, Clue, Sign, Trouble};
pub use drill::{Drill, DrillResult, Step};
pub use fold::{Judge, Look};
pub use ground::Change;
pub use observation::*;
pub use outage::Outage;
pub use pattern::{Follows, Pattern, Place};
pub use prior::{Access, Prior, Recalled};
pub use settings::{CLOSE, Known, Planned, Settings, Standby, Stands};
pub use span::{LaneState, Oddity, Span};
pub use time::{Edge, Micros, Moment, WallTime};
pub use verdict::{Judgement, Standing, VerdictKind};
