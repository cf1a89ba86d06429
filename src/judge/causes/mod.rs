//! Causes: what broke, on what evidence, and who mends it.
//!
//! In the order data flows: `pattern` (what follows a clock), `around` (what is judged from), `explain` (which span explains
//! which: a `trouble`), `sign` with `reading` (what was observed besides), `weights` with `table_home` and `table_line` (what
//! each sign says of each cause), `weigh` (confidence, clues for and against, alternatives), `kind` (the causes
//! themselves), `look` (all that lanes and causes say of a record). All weighing is done when somebody looks.

mod around;
mod explain;
mod kind;
pub(crate) mod look;
pub(crate) mod pattern;
mod reading;
mod sign;
mod table_home;
mod table_line;
mod trouble;
mod weigh;
mod weights;

pub use crate::judge::lanes::record::LaneRecord;
pub use around::Around;
pub use explain::explain;
pub use kind::{Actor, Cause};
pub use look::Look;
pub use sign::Sign;
pub use trouble::{Clue, Trouble};

#[cfg(test)]
mod tests;
