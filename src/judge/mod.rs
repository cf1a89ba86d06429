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

pub(crate) mod causes;
pub mod decide;
pub(crate) mod facts;
pub(crate) mod fold;
#[cfg(test)]
pub(crate) mod kit;
pub(crate) mod lanes;
pub mod stats;

pub use causes::pattern::{Follows, Pattern, Place};
pub use causes::{Actor, Cause, Clue, LaneRecord, Look, Sign, Trouble};
pub use decide::ask::{Ask, Require, RequirementSet};
pub use decide::choice::{Basis, Choice, Further};
pub use decide::drill::DrillResult;
pub use decide::evidence::Evidence;
pub use decide::outage::Outage;
pub use decide::prior::{Access, Prior, Recalled};
pub use decide::settings::{Known, Planned, Settings, Standby, Stands};
pub use decide::signalling::Signalling;
pub use decide::verdict::{Judgement, Standing, VerdictKind};
pub use decide::{belief, choice, drill, outage, prior, requirement, settings, thresholds};
pub use facts::{Mark as Step, *};
pub use fold::{Folded, Judge};
pub use lanes::ground::Change;
pub use lanes::span::{LaneState, Oddity, Span};
pub use lanes::thresholds::CLOSE;

pub(crate) use causes as cause;
pub(crate) use decide::{delivering, detection, flaps, lengths, outlook, supervision, turning};
pub(crate) use lanes::{course, ground, tally, timeline};
