//! Causes: what broke, on what evidence, and who mends it.
//!
//! In the order data flows: `record` (what each lane did), `explain` (which span explains which), `sign` (what was
//! observed besides), `weights` with `table_home` and `table_line` (what each sign says of each cause), `weigh` (confidence, clues for and
//! against, alternatives), `kind` (the causes themselves). The judge keeps what the signs need in `power` and `ground`,
//! what follows a clock is found by `pattern`; all weighing is done when somebody looks.

mod explain;
mod kind;
pub mod pattern;
mod record;
mod sign;
mod table_home;
mod table_line;
mod weigh;
mod weights;

pub use explain::explain;
pub use kind::{Actor, Cause};
pub use record::LaneRecord;
pub use sign::Sign;
pub use weigh::{Clue, MOST_INFERRED, MOST_SEEN};

use crate::judge::causes::pattern::Pattern;
use crate::judge::decide::settings::Settings;
use crate::judge::facts::observation::Lane;
use crate::judge::facts::time::{Edge, Micros, Moment};
use crate::judge::lanes::ground::Ground;
use crate::judge::lanes::power::Power;
use crate::judge::lanes::span::Span;
use crate::judge::lanes::timeline::Timeline;

/// A span with its cause and everything it brought with it.
#[derive(Clone, Debug)]
pub struct Trouble {
    /// Where it began.
    pub root: Span,
    /// Spans of outer lanes that it explains.
    pub followers: Vec<Span>,
    /// Why.
    pub cause: Cause,
    /// How sure, 0 to 1.
    pub confidence: f64,
    /// What was observed, and what it says of the cause.
    pub clues: Vec<Clue>,
    /// Other causes not excluded, likeliest first, with their odds; what is left to 1 is "something else".
    pub alternatives: Vec<(Cause, f64)>,
    /// When the path could not deliver, if it could not.
    pub path_down: Option<(Edge, Option<Edge>)>,
}

impl Trouble {
    fn new(root: Span) -> Self {
        Self {
            root,
            followers: Vec::new(),
            cause: Cause::TargetMissing,
            confidence: 0.0,
            clues: Vec::new(),
            alternatives: Vec::new(),
            path_down: None,
        }
    }

    /// How long the path could not deliver; `now` closes an open one.
    pub fn down_for(&self, now: Moment) -> Micros {
        self.path_down
            .map_or(Micros::ZERO, |(from, to)| Micros((to.map_or(now, Edge::midpoint) - from.midpoint()).0.max(0)))
    }
}

/// All that may tell causes apart, at one look.
#[derive(Clone, Copy)]
pub struct Around<'a> {
    /// Every lane.
    pub lanes: &'a [LaneRecord],
    /// Where the spans of each lie, in the same order.
    pub spans: &'a [Timeline],
    /// What is known of the site.
    pub settings: &'a Settings,
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
    fn lane(&self, which: Lane) -> Option<(&'a LaneRecord, &'a Timeline)> {
        self.lanes.iter().zip(self.spans).find(|(l, _)| l.lane == which)
    }
}

#[cfg(test)]
mod tests;
