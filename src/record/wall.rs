//! Wall time along a record: which hour on the wall belongs to a moment on the axis.
//!
//! Each start and each step of the clock gives a new anchor; between them the axis runs with the boot-time clock. A
//! label, never a length.

use crate::judge::{Entry, Moment, WallTime};

/// The anchors of a record, gathered from its entries in order.
#[derive(Clone, Debug, Default)]
pub struct Walls(Vec<(Moment, WallTime)>);

impl Walls {
    /// Takes in one entry.
    pub fn take(&mut self, entry: &Entry) {
        match entry {
            Entry::Began(s) => self.0.push((s.at, s.wall)),
            Entry::Stepped { at, wall } => self.0.push((*at, *wall)),
            _ => {}
        }
    }

    /// The wall time of a moment, by the last anchor not after it (the first one for what was before it).
    pub fn of(&self, at: Moment) -> Option<WallTime> {
        let after = self.0.partition_point(|(from, _)| *from <= at);
        let (from, wall) = self.0.get(after.saturating_sub(1))?;
        Some(WallTime(wall.0.saturating_add((at - *from).0)))
    }

    /// The first moment whose wall time is not before `wall`, given that the clock may have been stepped back over it:
    /// the earliest such.
    pub fn moment(&self, wall: WallTime) -> Moment {
        for (i, (from, then)) in self.0.iter().enumerate() {
            let until = self.0.get(i + 1).map_or(Moment(i64::MAX), |n| n.0);
            let at = (*from + crate::judge::Micros(wall.0.saturating_sub(then.0))).max(*from);
            if at < until {
                return if i == 0 && wall < *then { Moment(from.0.saturating_add(wall.0 - then.0)) } else { at };
            }
        }
        Moment(i64::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Micros, Session};

    #[test]
    fn a_step_moves_the_labels_after_it_and_none_before() {
        let mut w = Walls::default();
        assert_eq!(w.of(Moment(5)), None);
        let session =
            Session { at: Moment(0), boot_id: String::new(), boot: Micros(9), wall: WallTime(1_000), synced: None };
        w.take(&Entry::Began(session));
        w.take(&Entry::Stepped { at: Moment(100), wall: WallTime(5_000) });
        assert_eq!(
            [-1, 0, 99, 100, 130].map(|m| w.of(Moment(m)).expect("anchored").0),
            [999, 1_000, 1_099, 5_000, 5_030]
        );
        for (wall, at) in [(990, -10), (1_000, 0), (1_050, 50), (3_000, 100), (5_001, 101)] {
            assert_eq!(w.moment(WallTime(wall)), Moment(at), "{wall}");
        }
    }
}
