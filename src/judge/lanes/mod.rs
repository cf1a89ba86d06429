//! Lanes: from observations to the spans in which a lane did not behave, and what is counted beside them. Does not say why.
//!
//! In the order data flows: `roster` (who is asked what), `link`, `standing` and `lane` (its `target`s, the open `group` of losses, the loss `measured`) with `tempo` and `runs` (from
//! observations to `span`s), `power` and `ground` (what stands beside the lanes, and what changed), `tally` with `course`
//! (counts and times of each target), `record` (a lane as causes are read from it).

pub mod course;
pub mod ground;
mod group;
pub mod lane;
pub mod link;
mod measured;
pub mod power;
pub mod record;
pub mod roster;
mod runs;
pub mod span;
pub mod standing;
pub mod tally;
mod target;
pub mod tempo;
pub mod thresholds;
pub mod timeline;
