//! Lanes: from observations to the spans in which a lane did not behave, and what is counted beside them. Does not say why.
//!
//! In the order data flows: `roster` (who is asked what), `link`, `standing` and `lane` (its `target`s, the open `group` of losses, the loss `measured`) with `tempo` and `runs` (from
//! observations to `span`s), `power` and `ground` (what stands beside the lanes, and what changed), `tally` with `course`
//! (counts and times of each target), `record` (a lane as causes are read from it).

pub(crate) mod course;
pub(crate) mod ground;
mod group;
pub(crate) mod lane;
pub(crate) mod link;
mod measured;
mod phase;
pub(crate) mod power;
pub(crate) mod record;
pub(crate) mod roster;
mod runs;
pub(crate) mod span;
pub(crate) mod standing;
pub(crate) mod tally;
mod target;
pub(crate) mod tempo;
pub(crate) mod thresholds;
pub(crate) mod timeline;
mod waiting;
