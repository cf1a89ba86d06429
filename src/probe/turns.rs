//! Turns: when a probe asks next, and the wait for it. Every probe's turns are decided here.
//!
//! Decides the next moment from the interval of the present pace. Keeps the rhythm without drift, follows a change of
//! pace at once, and never catches up on turns that were missed: a burst would measure itself.

use super::{Context, Pace};
use crate::judge::{Micros, Moment};
use crate::site::cadence;
use crate::sys::clock::Clock;
use std::future::Future;
use tokio::sync::watch;
use tokio::task::JoinSet;

/// No interval is shorter: a zero one would spin. The plan's floors are far above this.
const LEAST: Micros = Micros::from_millis(10);

/// The turns of one target.
#[derive(Clone, Copy, Debug)]
pub struct Turns {
    steady: Micros,
    close_in: Micros,
    first: Moment,
    last: Option<Moment>,
}

impl Turns {
    /// Turns each `base`, at most a second apart when closing in, never under `floor`; the first one at `first`.
    pub fn new(base: Micros, floor: Micros, first: Moment) -> Self {
        let [steady, close_in] = [Pace::Steady, Pace::CloseIn].map(|pace| cadence::interval(base, floor, pace));
        Self::closing_in(steady, close_in, first)
    }

    /// Turns each `steady`, or each `close_in` (never longer) when closing in; the first one at `first`.
    pub fn closing_in(steady: Micros, close_in: Micros, first: Moment) -> Self {
        let steady = steady.max(LEAST);
        Self { steady, close_in: close_in.min(steady).max(LEAST), first, last: None }
    }

    /// The interval at this pace.
    pub fn every(&self, pace: Pace) -> Micros {
        match pace {
            Pace::Steady => self.steady,
            Pace::CloseIn => self.close_in,
        }
    }

    /// When the next turn is due at this pace.
    pub fn due(&self, pace: Pace) -> Moment {
        self.last.map_or(self.first, |at| at + self.every(pace))
    }

    /// The turn was taken at `now`.
    pub fn taken(&mut self, now: Moment, pace: Pace) {
        let due = self.due(pace);
        // Keeps its rhythm when a timer is a little late, and delays when it is very late.
        let behind = now - due;
        let kept = behind >= Micros::ZERO && behind < Micros(self.every(pace).0 / 2);
        self.last = Some(if kept && self.last.is_some() { due } else { now });
    }
}

/// Turns that are waited for.
#[derive(Debug)]
pub(super) struct Timer {
    clock: Clock,
    pace: watch::Receiver<Pace>,
    turns: Turns,
}

impl Timer {
    /// Waits for these turns.
    pub(super) fn new(ctx: &Context, turns: Turns) -> Self {
        Self { clock: ctx.clock, pace: ctx.pace.clone(), turns }
    }

    /// The first turn after `first`, then each `steady`, or each `close_in` when closing in.
    pub(super) fn after(ctx: &Context, first: Micros, steady: Micros, close_in: Micros) -> Self {
        Self::new(ctx, Turns::closing_in(steady, close_in, ctx.clock.now() + first))
    }

    /// The present interval.
    pub(super) fn every(&self) -> Micros {
        self.turns.every(*self.pace.borrow())
    }

    /// Waits for the next turn. Nothing is lost when the wait is dropped.
    pub(super) async fn next(&mut self) {
        loop {
            let pace = *self.pace.borrow_and_update();
            let due = self.turns.due(pace);
            tokio::select! {
                () = change(&mut self.pace) => continue,
                () = tokio::time::sleep_until(self.clock.instant(due)) => {}
            }
            let now = self.clock.now();
            if now >= due {
                self.turns.taken(now, pace);
                return;
            }
        }
    }
}

/// Waits for a change of pace; for ever once nobody sets it any more.
async fn change(pace: &mut watch::Receiver<Pace>) {
    if pace.changed().await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// Waits until a moment; for ever when there is none.
pub(super) async fn until(ctx: &Context, at: Option<Moment>) {
    match at {
        Some(at) => tokio::time::sleep_until(ctx.clock.instant(at)).await,
        None => std::future::pending().await,
    }
}

/// How many questions may be under way at once: as many as fit the waiting time at the closest interval, within 2 and 16.
pub fn overlap(patience: Micros, base: Micros, floor: Micros) -> usize {
    let interval = cadence::interval(base, floor, Pace::CloseIn).0.max(1);
    usize::try_from(patience.0.max(0) / interval + 1).unwrap_or(16).clamp(2, 16)
}

/// Starts one task at each turn until the agent is gone; `start` is told the turn's number, from 0. A turn at which
/// `most` tasks are still at work is missed. Tasks end with this loop.
pub async fn each<F, T>(ctx: Context, turns: Turns, most: usize, mut start: F)
where
    F: FnMut(u64) -> T,
    T: Future<Output = ()> + Send + 'static,
{
    let mut timer = Timer::new(&ctx, turns);
    let mut work = JoinSet::new();
    let mut number = 0;
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            Some(done) = work.join_next() => match done {
                // Not to be lost here: whoever runs the probe says it and starts it again.
                Err(e) if e.is_panic() => std::panic::resume_unwind(e.into_panic()),
                _ => continue,
            },
            () = timer.next() => {}
        }
        if work.len() < most {
            work.spawn(start(number));
            number += 1;
        }
    }
}

/// The first turn of target `index` of `count`, so that their turns lie evenly over the interval.
pub fn spread(start: Moment, interval: Micros, index: usize, count: usize) -> Moment {
    let part = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    start + Micros((interval.0 / part(count.max(1))).saturating_mul(part(index)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: fn(i64) -> Micros = Micros::from_secs;

    fn at(ms: i64) -> Moment {
        Moment(ms * 1_000)
    }

    #[test]
    fn the_rhythm_holds_and_missed_turns_are_missed() {
        let mut t = Turns::new(S(5), S(1), at(2_000));
        assert_eq!(t.due(Pace::Steady), at(2_000));
        t.taken(at(2_003), Pace::Steady);
        assert_eq!(t.due(Pace::Steady), at(7_003));
        t.taken(at(7_010), Pace::Steady);
        assert_eq!(t.due(Pace::Steady), at(12_003), "lateness does not add up");
        assert_eq!(t.due(Pace::CloseIn), at(8_003), "closing in is followed at once");
        t.taken(at(60_000), Pace::Steady);
        assert_eq!(t.due(Pace::Steady), at(65_000), "no burst after a stall");
    }

    #[test]
    fn the_floor_holds_whatever_is_asked() {
        let mut t = Turns::new(S(0), S(10), at(0));
        t.taken(at(0), Pace::CloseIn);
        assert_eq!(t.due(Pace::CloseIn), at(10_000));
    }

    #[test]
    fn turns_lie_evenly_over_the_interval() {
        let first = |i| spread(at(100), S(9), i, 3);
        assert_eq!([first(0), first(1), first(2)], [at(100), at(3_100), at(6_100)]);
    }

    #[test]
    fn what_may_overlap_is_bounded() {
        assert_eq!(overlap(S(2), S(5), S(1)), 3);
        assert_eq!(overlap(S(2), S(30), S(10)), 2);
        assert_eq!(overlap(S(3_600), S(1), S(1)), 16);
    }
}
