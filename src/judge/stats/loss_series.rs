//! Loss of a series of questions to one target, counted as they come.
//!
//! Decides the share lost with an interval that allows for losses coming in a row, and how dense losses are inside and
//! outside bursts. The share is of time: who asks closer while nothing comes back must not count the same loss more often.
//! The interval is Wilson's on counts divided by the variance inflation of two-state loss (`proportion::markov_inflation`,
//! the transitions counted); bursts are those of RFC 3611 section 4.7.2, as the checks find them in a whole series.
//! Memory does not grow.

use super::Interval;
use super::proportion::{effective, markov_inflation, wilson};
use serde::{Deserialize, Serialize};

/// Answers in a row that end a burst (RFC 3611 section 4.7.2 recommends 16).
pub const GMIN: u64 = 16;

/// The counts so far. Feed it in the order of asking.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LossSeries {
    asked: u64,
    lost: u64,
    last_lost: bool,
    /// Time that questions stand for, in all and lost, microseconds.
    time_us: [u64; 2],
    /// Losses that follow an answer, and answers that follow a loss.
    enters: u64,
    leaves: u64,
    bursts: u64,
    burst_losses: u64,
    burst_probes: u64,
    /// The burst that may be going on: its losses, its questions up to the last loss, and answers since.
    open: Option<(u64, u64, u64)>,
}

/// The share lost, with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loss {
    /// Share of time lost; of questions where none stands for any time.
    pub share: f64,
    /// Where the long-run share lies.
    pub bounds: Interval,
    /// Independent questions that would tell as much.
    pub effective: f64,
}

impl LossSeries {
    /// Counts one question that stands for so many microseconds: the time since the one before.
    pub fn count(&mut self, lost: bool, stands_for_us: u64) {
        self.time_us[0] = self.time_us[0].saturating_add(stands_for_us);
        self.time_us[1] = self.time_us[1].saturating_add(if lost { stands_for_us } else { 0 });
        if self.asked > 0 {
            self.enters += u64::from(lost && !self.last_lost);
            self.leaves += u64::from(!lost && self.last_lost);
        }
        self.asked += 1;
        self.lost += u64::from(lost);
        self.last_lost = lost;
        match (&mut self.open, lost) {
            (None, false) => {}
            (None, true) => self.open = Some((1, 1, 0)),
            (Some((_, _, since)), false) => {
                *since += 1;
                if *since >= GMIN {
                    self.close();
                }
            }
            (Some((losses, probes, since)), true) => {
                *losses += 1;
                *probes += std::mem::take(since) + 1;
            }
        }
    }

    fn close(&mut self) {
        // A loss alone is no burst.
        if let Some((losses, probes, _)) = self.open.take()
            && losses > 1
        {
            self.bursts += 1;
            self.burst_losses += losses;
            self.burst_probes += probes;
        }
    }

    fn closed(&self) -> Self {
        let mut whole = *self;
        whole.close();
        whole
    }

    /// The share lost; `None` if nothing was asked.
    pub fn loss(&self, confidence: f64) -> Option<Loss> {
        if self.asked == 0 {
            return None;
        }
        let (n, k) = (self.asked as f64, self.lost as f64);
        // What follows the last question is not known; so a state seen only there has no way out counted.
        let (good, bad) = (self.asked - self.lost, self.lost);
        let out_of = |state: u64, at_end: bool, left: u64| {
            let followed = state.saturating_sub(u64::from(at_end));
            if followed == 0 { 1.0 } else { left as f64 / followed as f64 }
        };
        let (enter, leave) = (out_of(good, !self.last_lost, self.enters), out_of(bad, self.last_lost, self.leaves));
        let inflation = match (good, bad) {
            (_, 0) => 1.0,
            // Nothing ever came back: however many questions, that is one loss.
            (0, _) => n,
            _ => markov_inflation(enter, leave, n),
        };
        let trials = effective(k, n, inflation).trials;
        let share = if self.time_us[0] > 0 { self.time_us[1] as f64 / self.time_us[0] as f64 } else { k / n };
        Some(Loss { share, bounds: wilson(share * trials, trials, confidence), effective: trials })
    }

    /// Bursts so far.
    pub fn bursts(&self) -> u64 {
        self.closed().bursts
    }

    /// Share lost inside bursts; `None` without one.
    pub fn burst_density(&self) -> Option<f64> {
        let whole = self.closed();
        (whole.burst_probes > 0).then(|| whole.burst_losses as f64 / whole.burst_probes as f64)
    }

    /// Share lost outside bursts; `None` where all is burst.
    pub fn gap_density(&self) -> Option<f64> {
        let whole = self.closed();
        let probes = whole.asked - whole.burst_probes;
        (probes > 0).then(|| (whole.lost - whole.burst_losses) as f64 / probes as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::close;
    use super::*;
    use proptest::prelude::*;
    use std::ops::Range;

    // The rule applied to a whole series at once, written apart from the counting as they come.
    /// A series split into bursts and gaps.
    #[derive(Clone, Debug, PartialEq)]
    struct Grouping {
        /// Each burst: from its first to its last loss, both in it.
        bursts: Vec<Range<usize>>,
        /// What lies between and around the bursts.
        gaps: Vec<Range<usize>>,
        /// Losses inside bursts.
        burst_losses: usize,
        /// Isolated losses, in gaps.
        gap_losses: usize,
    }

    impl Grouping {
        // Probes inside bursts.
        fn burst_probes(&self) -> usize {
            self.bursts.iter().map(Range::len).sum()
        }

        // Probes inside gaps.
        fn gap_probes(&self) -> usize {
            self.gaps.iter().map(Range::len).sum()
        }

        /// Share lost inside bursts; `None` without a burst.
        fn burst_density(&self) -> Option<f64> {
            (!self.bursts.is_empty()).then(|| self.burst_losses as f64 / self.burst_probes() as f64)
        }

        /// Share lost inside gaps; `None` without a gap.
        fn gap_density(&self) -> Option<f64> {
            (!self.gaps.is_empty()).then(|| self.gap_losses as f64 / self.gap_probes() as f64)
        }
    }

    /// Splits a series: a burst is a longest stretch starting and ending with a loss in which every run of answers is
    /// shorter than `gmin`; a loss alone is no burst.
    fn group(lost: &[bool], gmin: usize) -> Grouping {
        let mut bursts: Vec<Range<usize>> = Vec::new();
        let (mut burst_losses, mut gap_losses) = (0, 0);
        let mut close = |range: Option<Range<usize>>, losses: usize| match range {
            Some(r) if losses > 1 => {
                burst_losses += losses;
                bursts.push(r);
            }
            _ => gap_losses += losses,
        };
        let (mut open, mut losses) = (None::<Range<usize>>, 0);
        for (i, _) in lost.iter().enumerate().filter(|(_, l)| **l) {
            match &mut open {
                Some(range) if i - range.end < gmin => {
                    range.end = i + 1;
                    losses += 1;
                }
                _ => {
                    close(open.take(), losses);
                    (open, losses) = (Some(i..i + 1), 1);
                }
            }
        }
        close(open, losses);
        let mut gaps = Vec::with_capacity(bursts.len() + 1);
        let mut from = 0;
        for burst in &bursts {
            gaps.push(from..burst.start);
            from = burst.end;
        }
        gaps.push(from..lost.len());
        gaps.retain(|g| !g.is_empty());
        Grouping { bursts, gaps, burst_losses, gap_losses }
    }

    /// Two-state loss: in the bad state every probe is lost.
    #[derive(Clone, Copy, Debug, PartialEq)]
    struct Gilbert {
        /// Chance that a loss follows an answer.
        enter: f64,
        /// Chance that an answer follows a loss.
        leave: f64,
    }

    impl Gilbert {
        /// Counted from a series. `None` unless both an answer and a loss have a successor.
        fn fit(lost: &[bool]) -> Option<Self> {
            let mut follows = [[0u32; 2]; 2];
            for pair in lost.windows(2) {
                follows[usize::from(pair[0])][usize::from(pair[1])] += 1;
            }
            let [good, bad] = follows.map(|row| row[0] + row[1]);
            (good > 0 && bad > 0).then(|| Self {
                enter: f64::from(follows[0][1]) / f64::from(good),
                leave: f64::from(follows[1][0]) / f64::from(bad),
            })
        }
    }

    fn of(lost: &[bool]) -> LossSeries {
        let mut s = LossSeries::default();
        for l in lost {
            s.count(*l, 1);
        }
        s
    }

    #[test]
    fn the_published_series_gives_its_densities() {
        // RFC 3611 section 4.7.2 prints 0.33 and 0.04: by its rule burst density 4/12, gap density
        // 2/52 [HAND26].
        let lost: Vec<bool> = (0..64).map(|i| [4, 23, 27, 29, 34, 53].contains(&i)).collect();
        let s = of(&lost);
        assert_eq!(s.bursts(), 1);
        close(s.burst_density().expect("a burst"), 4.0 / 12.0, 1e-12);
        close(s.gap_density().expect("a gap"), 2.0 / 52.0, 1e-12);
    }

    #[test]
    fn losses_in_a_row_count_for_less() {
        let mut lost = vec![false; 10_080];
        // Runs of two losses, 98 or 99 answers between: 101 of them give enter close to 0.01 and leave 0.5.
        (0..101).for_each(|i| lost[50 + i * 99..52 + i * 99].fill(true));
        let l = of(&lost).loss(0.95).expect("asked");
        let fit = Gilbert::fit(&lost).expect("both");
        close(l.effective, 10_080.0 / markov_inflation(fit.enter, fit.leave, 10_080.0), 1e-9);
        // The same series counted, and the sum of its correlations over all lags, elsewhere: enter 101/9877, leave 1/2 [CALC26].
        close(l.effective, 3_452.693_268_75, 1e-9);
        let naive = wilson(202.0, 10_080.0, 0.95);
        assert!(l.bounds.width() > 1.6 * naive.width() && l.bounds.contains(l.share));
    }

    #[test]
    fn none_lost_and_all_lost_are_said_with_care() {
        let none = of(&[false; 100]).loss(0.95).expect("asked");
        close(none.bounds.upper, wilson(0.0, 100.0, 0.95).upper, 1e-12);
        let all = of(&[true; 100]).loss(0.95).expect("asked");
        close(all.effective, 1.0, 1e-12);
        assert!(all.bounds.lower < 0.25);
        assert_eq!(LossSeries::default().loss(0.95), None);
    }

    proptest! {
        #[test]
        fn counted_as_they_come_is_counted_in_one_go(lost in prop::collection::vec(prop::bool::weighted(0.1), 0..400)) {
            let (s, g) = (of(&lost), group(&lost, GMIN as usize));
            prop_assert_eq!(s.bursts() as usize, g.bursts.len());
            prop_assert_eq!(s.burst_density(), g.burst_density());
            prop_assert_eq!(s.gap_density(), g.gap_density());
            if let (Some(l), Some(f)) = (s.loss(0.95), Gilbert::fit(&lost)) {
                let n = lost.len() as f64;
                close(l.effective, n / markov_inflation(f.enter, f.leave, n).max(1.0), 1e-9);
            }
        }
    }

    #[test]
    fn asking_closer_while_nothing_comes_back_does_not_count_it_more_often() {
        // Down for 160 s of 1,000: asked each 10 s while up, each second while down. Of the questions 2 in 3 are lost.
        let mut s = LossSeries::default();
        for _ in 0..42 {
            s.count(false, 10_000_000);
        }
        for _ in 0..160 {
            s.count(true, 1_000_000);
        }
        for _ in 0..42 {
            s.count(false, 10_000_000);
        }
        let loss = s.loss(0.95).expect("asked");
        close(loss.share, 0.16, 1e-12);
        assert!(loss.bounds.lower < 0.16 && loss.bounds.upper > 0.16, "{loss:?}");
    }
}
