//! What happened to this machine's clocks: a wall clock that was stepped, a machine that was asleep.
//!
//! Decides by comparing three of them: the boot-time clock runs through sleep, the monotonic one does not, and the wall
//! clock goes where it is put (`clock_gettime(2)`). Nothing here asks a clock: the agent does.

use crate::judge::{Detail, Micros, Moment, NotAsked, Observation, Outcome, WallTime};
use std::collections::VecDeque;

/// A wall clock that moved this far against the boot-time clock was stepped (a choice: slews of a time service stay under it).
const STEP: Micros = Micros::from_millis(500);
/// The boot-time clock running ahead of the monotonic one by this much between two looks was a sleep.
const SLEEP: Micros = Micros::from_secs(1);
/// Sleeps remembered: what was asked before the oldest of them is long answered.
const MOST: usize = 16;

/// The clocks at one moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    /// On the record's axis.
    pub(super) now: Moment,
    /// The monotonic clock.
    pub(super) awake: Micros,
    /// The wall clock.
    pub(super) wall: WallTime,
}

/// What a look found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum News {
    /// The wall clock was stepped.
    Stepped(WallTime),
    /// The machine slept for this long.
    Slept(Micros),
}

/// The clocks as last seen.
#[derive(Clone, Debug)]
pub(super) struct Clocks {
    last: Reading,
    slept: VecDeque<(Moment, Moment)>,
}

impl Clocks {
    pub(super) fn new(first: Reading) -> Self {
        Self { last: first, slept: VecDeque::new() }
    }

    /// Looks again.
    pub(super) fn look(&mut self, r: Reading) -> Vec<News> {
        let passed = r.now - self.last.now;
        let mut news = Vec::new();
        let slept = passed - (r.awake - self.last.awake);
        if slept > SLEEP {
            self.slept.push_back((self.last.now, r.now));
            if self.slept.len() > MOST {
                self.slept.pop_front();
            }
            news.push(News::Slept(slept));
        }
        let stepped = Micros(r.wall.0.saturating_sub(self.last.wall.0)) - passed;
        if stepped.0.abs() > STEP.0 {
            news.push(News::Stepped(r.wall));
        }
        // A clock that is slewed creeps: only a step between two looks is one, so both are held against the last look.
        self.last = r;
        news
    }

    /// An answer that did not come while the machine slept was not waited for: nobody knows. What did come, came.
    pub(super) fn honest(&self, mut o: Observation) -> Observation {
        let over = |(from, to): &(Moment, Moment)| o.asked <= *to && o.known >= *from;
        if o.outcome.was_asked() && o.outcome != Outcome::Answered && self.slept.iter().any(over) {
            (o.outcome, o.rtt) = (Outcome::NotAsked(NotAsked::Local), None);
            o.detail = Detail::Why("this machine slept while the answer was waited for".into());
        }
        o
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Question;

    const S: fn(i64) -> Micros = Micros::from_secs;

    fn at(boot: i64, awake: i64, wall: i64) -> Reading {
        Reading { now: Moment(boot * 1_000_000), awake: S(awake), wall: WallTime(wall * 1_000_000) }
    }

    #[test]
    fn steps_and_sleeps_are_told_apart() {
        let mut c = Clocks::new(at(10, 5, 1_000));
        assert_eq!(c.look(at(11, 6, 1_001)), []);
        assert_eq!(c.look(at(12, 7, 4_602)), [News::Stepped(WallTime(4_602_000_000))], "an hour on");
        assert_eq!(c.look(at(13, 8, 4_603)), [], "and no more after it");
        assert_eq!(c.look(at(14, 9, 4_604 - 31_536_000)).len(), 1, "a year back");
        // Asleep for an hour: the wall clock went along.
        assert_eq!(c.look(at(3_615, 10, 8_205 - 31_536_000)), [News::Slept(S(3_600))]);
        // Asleep, and the clock set on waking.
        assert_eq!(c.look(at(3_715, 11, 50)), [News::Slept(S(99)), News::Stepped(WallTime(50_000_000))]);
    }

    #[test]
    fn a_clock_that_is_slewed_is_not_stepped() {
        // The kernel slews by 500 ppm at most (adjtimex(2)): 0.5 ms a second, for an hour.
        let mut c = Clocks::new(at(0, 0, 0));
        for s in 1..3_600i64 {
            let r = Reading { wall: WallTime(s * 1_000_500), ..at(s, s, 0) };
            assert_eq!(c.look(r), []);
        }
    }

    #[test]
    fn silence_over_a_sleep_is_nobodys_fault_and_an_answer_stays_one() {
        let mut c = Clocks::new(at(10, 10, 0));
        c.look(at(3_000, 11, 2_990));
        let seen = |asked: i64, known: i64, outcome| Observation {
            asked: Moment(asked * 1_000_000),
            known: Moment(known * 1_000_000),
            question: Question::Connect,
            target: "t".into(),
            outcome,
            rtt: None,
            detail: Detail::None,
        };
        let outcome = |o| c.honest(o).outcome;
        assert_eq!(outcome(seen(9, 3_001, Outcome::Timeout)), Outcome::NotAsked(NotAsked::Local));
        assert_eq!(outcome(seen(9, 3_001, Outcome::Answered)), Outcome::Answered);
        assert_eq!(outcome(seen(3_001, 3_003, Outcome::Timeout)), Outcome::Timeout, "asked after waking");
        assert_eq!(outcome(seen(5, 7, Outcome::Timeout)), Outcome::Timeout, "known before");
    }
}
