//! Facts: time, and what a record holds. Decides nothing.
//!
//! `time`, `stretches` of it; `question` (lanes, and what is asked of them), `outcome`, `answer` and `mac` (what comes
//! back), `observation`, `mark` (what somebody does on purpose), `entry` (all that a record holds).

pub(crate) mod answer;
pub(crate) mod entry;
pub(crate) mod mac;
pub(crate) mod mark;
pub(crate) mod observation;
pub(crate) mod outcome;
pub(crate) mod question;
pub(crate) mod stretches;
pub(crate) mod time;

pub use answer::*;
pub use entry::{Ending, Entry, Session};
pub use mac::Mac;
pub use mark::{Act, CutShort, Drill, DrillEnd, Mark};
pub use observation::{Detail, Observation, Rtt};
pub use outcome::{NotAsked, Outcome, Unreachable};
pub use question::{Lane, Question};
pub use time::{Edge, Micros, Moment, WallTime};
