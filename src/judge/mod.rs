//! The judge: from observations to a verdict. Pure.
//!
//! Knows no clock, socket, file, thread or random source; it is told the time with every [`Entry`]. Live, replay and
//! simulation run the same fold ([`fold::Judge`]), so a stored week judged again gives the same verdict.
//!
//! A house of floors, each of which imports only what stands below it (`tests/house.rs`): `facts` (time, and what a record
//! holds), `stats` (distributions and bounds), `lanes` (from observations to spans), `causes` (which span explains which,
//! and why), `decide` (what counts, what is required, the verdict), and `fold` on top (all of it, one entry at a time).
//! Other rooms name what they use by this file.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod causes;
pub mod decide;
pub mod facts;
pub mod fold;
#[cfg(test)]
pub(crate) mod kit;
pub mod lanes;
pub mod stats;

pub use self::causes as cause;
pub use causes::pattern::{self, Follows, Pattern, Place};
pub use causes::{Actor, Cause, Clue, LaneRecord, Look, Sign, Trouble};
pub use decide::ask::{Ask, Require, RequirementSet};
pub use decide::choice::{self, Basis, Choice, Further};
pub use decide::drill::{self, DrillResult};
pub use decide::evidence::Evidence;
pub use decide::outage::{self, Outage};
pub use decide::prior::{self, Access, Prior, Recalled};
pub use decide::settings::{self, Known, Planned, Settings, Standby, Stands};
pub use decide::signalling::Signalling;
pub use decide::verdict::{self, Judgement, Standing, VerdictKind};
pub use decide::{
    belief, delivering, detection, flaps, lengths, mending, outlook, requirement, supervision, thresholds, turning,
};
pub use facts::{Mark as Step, *};
pub use fold::{Folded, Judge};
pub use lanes::ground::{self, Change};
pub use lanes::span::{self, LaneState, Oddity, Span};
pub use lanes::thresholds::CLOSE;
pub use lanes::{course, lane, link, power, roster, standing, tally, tempo, timeline};
