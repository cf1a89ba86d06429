//! Which of many stretches of time meet a given one, without reading them all.
//!
//! Decides nothing of its own. A year of a bad line has thousands of troubles, and each is held against all others; in
//! blocks whose latest end is known, what ended long ago is passed over.

use crate::judge::facts::Moment;

/// Stretches to a block: few enough to read, many enough to be worth passing over.
const BLOCK: usize = 64;

/// Stretches in any order; fast where they are nearly in the order of their starts.
#[derive(Clone, Debug, Default)]
pub struct Timeline {
    stretches: Vec<(Moment, Moment)>,
    /// Latest end within each block.
    ends: Vec<Moment>,
    /// Earliest start in each block and all after it: ascending.
    starts: Vec<Moment>,
}

impl FromIterator<(Moment, Moment)> for Timeline {
    fn from_iter<I: IntoIterator<Item = (Moment, Moment)>>(all: I) -> Self {
        let mut timeline = Self::default();
        all.into_iter().for_each(|stretch| timeline.push(stretch));
        timeline
    }
}

impl Timeline {
    /// Takes in one more, from its start to its end.
    pub fn push(&mut self, stretch: (Moment, Moment)) {
        if self.stretches.len().is_multiple_of(BLOCK) {
            self.starts.push(stretch.0);
            self.ends.push(stretch.1);
        }
        self.stretches.push(stretch);
        // A block and those before it begin no later than what comes last.
        self.starts.iter_mut().rev().take_while(|start| **start > stretch.0).for_each(|start| *start = stretch.0);
        if let Some(end) = self.ends.last_mut() {
            *end = stretch.1.max(*end);
        }
    }

    /// The same for those that do more than touch: begin before `to` and end after `from`.
    pub fn within(&self, from: Moment, to: Moment) -> impl Iterator<Item = usize> {
        self.meeting(from, to).filter(move |place| {
            let (a, b) = self.stretches[*place];
            a < to && b > from
        })
    }

    /// Places of the stretches that begin at or before `to` and end at or after `from`, in order.
    pub fn meeting(&self, from: Moment, to: Moment) -> impl Iterator<Item = usize> {
        let blocks = self.starts.partition_point(|start| *start <= to);
        (0..blocks)
            .filter(move |block| self.ends[*block] >= from)
            .flat_map(move |block| block * BLOCK..self.stretches.len().min((block + 1) * BLOCK))
            .filter(move |place| {
                let (a, b) = self.stretches[*place];
                a <= to && b >= from
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_meets_is_found_as_if_read_one_by_one(
            all in prop::collection::vec((0i64..2_000, 0i64..300), 0..400), from in 0i64..2_000, wide in 0i64..200, sorted: bool
        ) {
            let mut all: Vec<_> = all.into_iter().map(|(a, l)| (Moment(a), Moment(a + l))).collect();
            if sorted {
                all.sort();
            }
            let (from, to) = (Moment(from), Moment(from + wide));
            let plain: Vec<usize> =
                (0..all.len()).filter(|i| all[*i].0 <= to && all[*i].1 >= from).collect();
            prop_assert_eq!(all.into_iter().collect::<Timeline>().meeting(from, to).collect::<Vec<_>>(), plain);
        }
    }
}
