//! What the causes of one look are judged from. Decides nothing.

use super::pattern::Pattern;
use crate::judge::facts::{Lane, Moment};
use crate::judge::lanes::ground::Ground;
use crate::judge::lanes::power::Power;
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::timeline::Timeline;

/// All that may tell causes apart, at one look.
#[derive(Clone, Copy)]
pub struct Around<'a> {
    /// Every lane.
    pub lanes: &'a [LaneRecord],
    /// Where the spans of each lie, in the same order.
    pub spans: &'a [Timeline],
    /// Whether receivers are named: the path is theirs.
    pub has_receivers: bool,
    /// Mains, the router's life, neighbours.
    pub power: &'a Power,
    /// Conditions and changes beside the lanes.
    pub ground: &'a Ground,
    /// Patterns over days.
    pub patterns: &'a [Pattern],
    /// The look's moment.
    pub now: Moment,
}

impl<'a> Around<'a> {
    /// A lane and where its spans lie.
    pub(super) fn lane(&self, which: Lane) -> Option<(&'a LaneRecord, &'a Timeline)> {
        self.lanes.iter().zip(self.spans).find(|(l, _)| l.lane == which)
    }
}
