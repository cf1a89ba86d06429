//! How much a lane loses at random, and how many failures are therefore more than chance.

use super::thresholds::{BURST_LOSSES, CLEAR_AFTER, CLEAR_ANSWERS, LEAST_RUN, MOST_RUN};
use crate::judge::facts::Moment;
use crate::judge::stats::run_length;
use serde::{Deserialize, Serialize};

/// What was asked of a lane, and what of it was lost outside spans.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(super) struct Measured {
    pub(super) first: Option<Moment>,
    pub(super) last: Option<Moment>,
    pub(super) good: u64,
    pub(super) lost: u64,
}

impl Measured {
    /// First and last moment asked, where anything was.
    pub(super) fn reach(&self) -> Option<(Moment, Moment)> {
        self.first.zip(self.last)
    }

    /// Questions that count.
    pub(super) fn asked(&self) -> u64 {
        self.good + self.lost
    }

    /// Seconds over which the loss was measured; `None` before some hundred questions, when it is not measured well.
    fn seconds(&self) -> Option<f64> {
        self.reach()
            .filter(|(first, last)| self.asked() >= 100 && last > first)
            .map(|(first, last)| (last - first).secs())
    }

    /// k: failures in a row that declare silence, so that chance does it less than once a year.
    pub(super) fn run_needed(&self) -> u32 {
        let Some(seconds) = self.seconds() else { return LEAST_RUN };
        let per_year = self.asked() as f64 / seconds * 365.25 * 86_400.0;
        let loss = self.lost as f64 / self.asked() as f64;
        run_length::failures_needed(loss, per_year, 1.0).unwrap_or(MOST_RUN).clamp(LEAST_RUN, MOST_RUN)
    }

    /// Random loss measured so far; a half is added so that none seen is not none.
    pub(super) fn loss(&self) -> f64 {
        (self.lost as f64 + 0.5) / (self.asked() as f64 + 1.0)
    }

    /// Failures that make a burst, so that chance makes fewer than one a year: at random loss p and r questions a
    /// second, a group goes on past a failure with probability 1 - (1 - p)^(3 s r).
    pub(super) fn losses_needed(&self) -> u32 {
        let Some(seconds) = self.seconds() else { return BURST_LOSSES };
        let (rate, p) = (self.asked() as f64 / seconds, self.loss().min(0.9));
        let on = 1.0 - (1.0 - p).powf((rate * CLEAR_AFTER.secs()).max(f64::from(CLEAR_ANSWERS)));
        let failures_a_year = rate * 365.25 * 86_400.0 * p;
        let more = failures_a_year.max(1.0).ln() / -on.ln();
        (1.0 + more.ceil()).clamp(f64::from(BURST_LOSSES), 1e6) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(good: u64, lost: u64) -> Measured {
        let until = Moment(((good + lost) * 1_000_000) as i64);
        Measured { first: Some(Moment(0)), last: Some(until), good, lost }
    }

    #[test]
    fn a_hundred_questions_are_enough_to_measure_by() {
        // One in five lost, one question a second: 31 557 600 x 0.8 x 0.2^k falls under one at k = 11 (by hand).
        assert_eq!((measured(79, 20).run_needed(), measured(80, 20).run_needed()), (LEAST_RUN, 11));
        assert_eq!(measured(79, 20).losses_needed(), BURST_LOSSES);
        assert!(measured(80, 20).losses_needed() > BURST_LOSSES);
    }
}
