//! How one target's answers and times went over the record, in steps of even length and bounded in number.
//!
//! Where the record outgrows the steps, two neighbours become one, so that they always reach over all of it: a survey
//! of minutes has steps of seconds, a year has steps of days. Sums, counts and extremes join exactly, so the steps are
//! the same whatever order the observations came in and however often they were joined. Decides nothing by it.

use crate::judge::facts::{Micros, Moment};
use serde::{Deserialize, Serialize};

/// Most steps of a course.
pub const STEPS: usize = 192;
/// Length of a step at first.
const FIRST: Micros = Micros::from_secs(15);

/// What came of the questions put in one step.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CourseStep {
    /// Questions put.
    pub asked: u32,
    /// Of these, answered.
    pub answered: u32,
    /// Answers with a time.
    pub timed: u32,
    /// Their round trips together, microseconds.
    pub sum_us: u64,
    /// The longest of them, microseconds.
    pub most_us: u32,
}

impl CourseStep {
    /// Mean round trip, milliseconds; `None` where none was timed.
    pub fn mean_ms(&self) -> Option<f64> {
        (self.timed > 0).then(|| self.sum_us as f64 / f64::from(self.timed) / 1e3)
    }

    /// Longest round trip, milliseconds; `None` where none was timed.
    pub fn most_ms(&self) -> Option<f64> {
        (self.timed > 0).then(|| f64::from(self.most_us) / 1e3)
    }

    fn join(&mut self, other: Self) {
        self.asked = self.asked.saturating_add(other.asked);
        self.answered = self.answered.saturating_add(other.answered);
        self.timed = self.timed.saturating_add(other.timed);
        self.sum_us = self.sum_us.saturating_add(other.sum_us);
        self.most_us = self.most_us.max(other.most_us);
    }
}

/// The course of one target, from the start of the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Course {
    step: Micros,
    steps: Vec<CourseStep>,
}

impl Default for Course {
    fn default() -> Self {
        Self { step: FIRST, steps: Vec::new() }
    }
}

impl Course {
    /// Length of each step.
    pub fn step(&self) -> Micros {
        self.step
    }

    /// The steps, the first from the start of the record.
    pub fn steps(&self) -> &[CourseStep] {
        &self.steps
    }

    /// Counts a question put at `at`, whether it was answered, and how long that took where a time was taken.
    pub fn count(&mut self, at: Moment, answered: bool, took: Option<Micros>) {
        let at = at.0.max(0);
        while at / self.step.0 >= STEPS as i64 {
            self.halve();
        }
        let place = (at / self.step.0) as usize;
        if self.steps.len() <= place {
            self.steps.resize(place + 1, CourseStep::default());
        }
        let us = took.map(|t| u32::try_from(t.0.max(0)).unwrap_or(u32::MAX));
        self.steps[place].join(CourseStep {
            asked: 1,
            answered: u32::from(answered),
            timed: u32::from(us.is_some()),
            sum_us: us.map_or(0, u64::from),
            most_us: us.unwrap_or(0),
        });
    }

    /// Makes one of each two neighbours.
    fn halve(&mut self) {
        self.step = Micros(self.step.0.saturating_mul(2));
        let mut joined: Vec<CourseStep> = Vec::with_capacity(STEPS);
        for pair in self.steps.chunks(2) {
            let mut one = pair[0];
            if let Some(other) = pair.get(1) {
                one.join(*other);
            }
            joined.push(one);
        }
        self.steps = joined;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn asked(c: &Course) -> u64 {
        c.steps().iter().map(|s| u64::from(s.asked)).sum()
    }

    #[test]
    fn a_week_keeps_hours_and_a_century_stays_bounded() {
        let mut c = Course::default();
        for minute in 0..7 * 24 * 60 {
            c.count(Moment(minute * 60_000_000), minute % 10 != 0, Some(Micros(20_000)));
        }
        assert_eq!((c.step(), c.steps().len()), (Micros::from_secs(64 * 60), 158));
        assert_eq!(c.steps()[0], CourseStep { asked: 64, answered: 57, timed: 64, sum_us: 1_280_000, most_us: 20_000 });
        assert_eq!(c.steps()[0].mean_ms(), Some(20.0));
        c.count(Moment(100 * 365 * 86_400 * 1_000_000), false, None);
        assert!(c.steps().len() <= STEPS);
        assert_eq!(asked(&c), 7 * 24 * 60 + 1);
        c.count(Moment(i64::MAX), false, Some(Micros(i64::MAX)));
        assert!(c.steps().len() <= STEPS);
    }

    proptest! {
        // Against counting into steps of the final length at once, in whatever order.
        #[test]
        fn joining_loses_nothing_and_order_does_not_matter(
            mut events in proptest::collection::vec((0i64..100_000_000_000, any::<bool>(), proptest::option::of(0i64..100_000_000)), 1..200),
        ) {
            let mut c = Course::default();
            for (at, answered, took) in &events {
                c.count(Moment(*at), *answered, took.map(Micros));
            }
            let mut plain = vec![CourseStep::default(); c.steps().len()];
            for (at, answered, took) in &events {
                let s = &mut plain[(at / c.step().0) as usize];
                s.asked += 1;
                s.answered += u32::from(*answered);
                if let Some(us) = took {
                    s.timed += 1;
                    s.sum_us += *us as u64;
                    s.most_us = s.most_us.max(*us as u32);
                }
            }
            prop_assert_eq!(c.steps(), &plain[..]);
            events.reverse();
            let mut again = Course::default();
            for (at, answered, took) in &events {
                again.count(Moment(*at), *answered, took.map(Micros));
            }
            prop_assert_eq!(again, c);
        }
    }
}
