//! A look: all that lanes and causes say of a record so far. The fold gathers it; requirements and verdict rest on it.

use super::kind::Cause;
use super::pattern::Pattern;
use super::trouble::Trouble;
use crate::judge::facts::{Edge, Lane, Micros, Moment, Question};
use crate::judge::lanes::ground::Change;
use crate::judge::lanes::record::LaneRecord;
use std::collections::BTreeMap;

/// What the judge makes of the record so far.
#[derive(Clone, Debug)]
pub struct Look {
    /// The last entry's moment.
    pub now: Moment,
    /// Every lane, inside out.
    pub lanes: Vec<LaneRecord>,
    /// What happened, in order of time, but for what began and ended within a planned span.
    pub troubles: Vec<Trouble>,
    /// What began and ended within a planned span: somebody's doing, held against nobody.
    pub rehearsed: Vec<Trouble>,
    /// What they follow.
    pub patterns: Vec<Pattern>,
    /// What changed at the site.
    pub changes: Vec<(Edge, Change)>,
    /// Time in which the path was observed, planned spans left out.
    pub observed: Micros,
    /// When that was: spans in order.
    pub seen: Vec<(Moment, Moment)>,
    /// Planned spans on the record's axis, in order.
    pub planned: Vec<(Moment, Moment)>,
    /// Targets that never answered while others of their lane did.
    pub never_answered: Vec<(Question, String)>,
    /// Random loss outside spans, per asked lane: failures and questions.
    pub random_loss: Vec<(Lane, u64, u64)>,
}

impl Look {
    /// How long the path was down by each cause seen, in all.
    pub fn down_by(&self) -> BTreeMap<Cause, Micros> {
        let mut down = BTreeMap::new();
        for t in &self.troubles {
            let so_far = down.entry(t.cause).or_insert(Micros::ZERO);
            *so_far = *so_far + t.down_for(self.now);
        }
        down
    }

    /// Random loss of the lane the path is judged by: failures and questions.
    pub fn path_loss(&self) -> (u64, u64) {
        let of = |lane| self.random_loss.iter().find(|(l, ..)| *l == lane).map_or((0, 0), |(_, a, b)| (*a, *b));
        match of(Lane::Receiver) {
            (_, 0) => of(Lane::Outside),
            receiver => receiver,
        }
    }
}
