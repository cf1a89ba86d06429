//! Bursty loss: how losses cluster, and how much a series of dependent probes is worth.
//!
//! Decides the split into bursts and gaps, the two-state (Gilbert) loss model, round-trip loss with its periods, and
//! batch-means bounds. Works on one probe series in sending order, `true` meaning no answer within the stated
//! time-out. Sources: RFC 3611 section 4.7.2 (grouping rule); RFC 6673 (round-trip loss); RFC 3357 (loss distance and
//! period); [GILBERT60].
//!
//! The counters of RFC 3611 appendix A.2 do not reproduce that RFC's own example when they start from zero (an
//! isolated loss early in the stream becomes a burst), so the rule itself is applied, with both edges of the stream
//! taken as answered for long.

use super::Interval;
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::ops::Range;

/// Answered probes in a row that end a burst (RFC 3611's recommended Gmin).
pub const GMIN: usize = 16;

/// A series split into bursts and gaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Grouping {
    /// Each burst: from its first to its last loss, both in it.
    pub bursts: Vec<Range<usize>>,
    /// What lies between and around the bursts.
    pub gaps: Vec<Range<usize>>,
    /// Losses inside bursts.
    pub burst_losses: usize,
    /// Isolated losses, in gaps.
    pub gap_losses: usize,
}

impl Grouping {
    /// Probes inside bursts.
    pub fn burst_probes(&self) -> usize {
        self.bursts.iter().map(Range::len).sum()
    }

    /// Probes inside gaps.
    pub fn gap_probes(&self) -> usize {
        self.gaps.iter().map(Range::len).sum()
    }

    /// Share lost inside bursts; `None` without a burst.
    pub fn burst_density(&self) -> Option<f64> {
        (!self.bursts.is_empty()).then(|| self.burst_losses as f64 / self.burst_probes() as f64)
    }

    /// Share lost inside gaps; `None` without a gap.
    pub fn gap_density(&self) -> Option<f64> {
        (!self.gaps.is_empty()).then(|| self.gap_losses as f64 / self.gap_probes() as f64)
    }
}

/// Splits a series: a burst is a longest stretch starting and ending with a loss in which every run of answers is
/// shorter than `gmin`; a loss alone is no burst.
pub fn group(lost: &[bool], gmin: usize) -> Grouping {
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
pub struct Gilbert {
    /// Chance that a loss follows an answer.
    pub enter: f64,
    /// Chance that an answer follows a loss.
    pub leave: f64,
}

impl Gilbert {
    /// Counted from a series. `None` unless both an answer and a loss have a successor.
    pub fn fit(lost: &[bool]) -> Option<Self> {
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

    /// Long-run share lost: p / (p + r).
    pub fn loss(self) -> f64 {
        if self.enter == 0.0 { 0.0 } else { self.enter / (self.enter + self.leave) }
    }

    /// Mean losses in a row, 1/r.
    pub fn mean_burst(self) -> f64 {
        1.0 / self.leave
    }

    /// Mean answers in a row, 1/p.
    pub fn mean_gap(self) -> f64 {
        1.0 / self.enter
    }
}

/// Round-trip loss of a series (RFC 6673: lost if no answer came within the time-out the caller states).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RoundTripLoss {
    /// Probes sent.
    pub sent: usize,
    /// Probes without an answer in time.
    pub lost: usize,
    /// Loss periods: runs of losses in a row (RFC 3357).
    pub periods: usize,
    /// The longest of them, probes.
    pub longest: usize,
}

impl RoundTripLoss {
    /// Counts a series.
    pub fn of(lost: &[bool]) -> Self {
        let runs = lost.chunk_by(|a, b| a == b).filter(|run| run[0]);
        let (mut periods, mut longest, mut total) = (0, 0, 0);
        for run in runs {
            periods += 1;
            longest = longest.max(run.len());
            total += run.len();
        }
        Self { sent: lost.len(), lost: total, periods, longest }
    }

    /// Share lost; `None` if nothing was sent.
    pub fn ratio(self) -> Option<f64> {
        (self.sent > 0).then(|| self.lost as f64 / self.sent as f64)
    }
}

/// A mean with what batches of probes say about its error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BatchMeans {
    /// Share lost over the whole batches.
    pub mean: f64,
    /// Standard error from the spread between batches.
    pub standard_error: f64,
    /// Student bounds with batches - 1 degrees of freedom, held to 0..1.
    pub bounds: Interval,
}

/// Batch means: the series cut into batches of `batch` probes (a rest is left out). Good when a batch is at least ten
/// times the longest burst. `None` with fewer than two batches.
pub fn batch_means(lost: &[bool], batch: usize, confidence: f64) -> Option<BatchMeans> {
    let means: Vec<f64> =
        lost.chunks_exact(batch.max(1)).map(|b| b.iter().filter(|l| **l).count() as f64 / b.len() as f64).collect();
    let m = means.len() as f64;
    if means.len() < 2 {
        return None;
    }
    let mean = means.iter().sum::<f64>() / m;
    let variance = means.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (m - 1.0);
    let standard_error = (variance / m).sqrt();
    let t = StudentsT::new(0.0, 1.0, m - 1.0).ok()?.inverse_cdf(f64::midpoint(1.0, confidence));
    let half = t * standard_error;
    let bounds = Interval { lower: (mean - half).max(0.0), upper: (mean + half).min(1.0) };
    Some(BatchMeans { mean, standard_error, bounds })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{close, near};
    use super::*;
    use proptest::prelude::*;

    /// RFC 3611 section 4.7.2's example, lost and discarded alike, with one `1` more at the end: it speaks of 64
    /// packets and a last gap of 290 ms, and prints 63.
    fn s64() -> Vec<bool> {
        "11110111111111111111111X111X1011110111111111111111111X1111111111".chars().map(|c| c != '1').collect()
    }

    #[test]
    fn the_rfc_3611_example_matches() {
        // By the definition [HAND26]; the RFC says: burst 120 ms density 0.33, gaps 230 and 290 ms density 0.04.
        let g = group(&s64(), GMIN);
        assert!(g.bursts.iter().eq([&(23..35)]) && g.gaps.iter().eq([&(0..23), &(35..64)]), "{g:?}");
        assert_eq!((g.burst_losses, g.gap_losses), (4, 2));
        near(g.burst_density().expect("a burst"), 0.33, 5e-3);
        close(g.burst_density().expect("a burst"), 4.0 / 12.0, 1e-12);
        near(g.gap_density().expect("a gap"), 0.04, 5e-3);
        close(g.gap_density().expect("a gap"), 2.0 / 52.0, 1e-12);
    }

    #[test]
    fn the_second_vector_matches_where_it_follows_the_rule() {
        // `111011100011X`, Gmin 2, 10 ms packets [A2TEST], by the counters of appendix A.2: burst
        // density 255 of 256 (all lost), gap density 51, burst 30 ms. Its gap of 110 ms is an artefact of the
        // counters: by the rule the two gaps are 7 + 3 packets.
        let series: Vec<bool> = "111011100011X".chars().map(|c| c != '1').collect();
        let g = group(&series, 2);
        // Index 3 is alone: three answers follow it.
        assert!(g.bursts.iter().eq([&(7..10)]), "{g:?}");
        close(g.burst_density().expect("a burst"), 1.0, 1e-12);
        near((g.gap_density().expect("a gap") * 256.0).floor(), 51.0, 0.0);
        assert_eq!(g.gap_probes(), 10);
        assert_eq!(g.burst_losses + g.gap_losses, 5);
    }

    #[test]
    fn the_gilbert_model_matches() {
        // Worked out elsewhere [CALC26].
        let g = Gilbert::fit(&s64()).expect("both states seen");
        close(g.enter, 6.0 / 57.0, 1e-12);
        close(g.leave, 1.0, 1e-12);
        close(g.loss(), (6.0 / 57.0) / (6.0 / 57.0 + 1.0), 1e-12);
        close(Gilbert { enter: 0.001, leave: 0.1 }.loss(), 0.009_900_99, 1e-7);
        close(Gilbert { enter: 0.01, leave: 0.5 }.mean_burst(), 2.0, 1e-12);
        close(Gilbert { enter: 0.01, leave: 0.5 }.mean_gap(), 100.0, 1e-12);
        assert_eq!(Gilbert::fit(&[false; 9]), None);
    }

    #[test]
    fn batch_means_match() {
        // Worked out elsewhere [CALC26].
        let b = batch_means(&s64(), 8, 0.95).expect("batches");
        close(b.mean, 0.09375, 1e-12);
        close(b.standard_error, 0.03125, 1e-12);
        close(b.bounds.lower, 0.019_855_492_14, 1e-9);
        close(b.bounds.upper, 0.167_644_507_9, 1e-9);
        let b = batch_means(&s64(), 16, 0.95).expect("batches");
        close(b.standard_error, 0.03125, 1e-12);
        near(b.bounds.lower, 0.0, 0.0);
        near(b.bounds.upper, 0.193_201, 5.1e-7);
        assert_eq!(batch_means(&s64(), 40, 0.95), None);
    }

    #[test]
    fn round_trip_loss_matches() {
        // RFC 3357's example, lost 2, 5, 7, 9, 10 of 10: four loss periods, the last of two (section 6.5).
        let lost: Vec<bool> = (1..=10).map(|i| [2, 5, 7, 9, 10].contains(&i)).collect();
        let r = RoundTripLoss::of(&lost);
        assert_eq!(r, RoundTripLoss { sent: 10, lost: 5, periods: 4, longest: 2 });
        assert_eq!((r.ratio(), RoundTripLoss::of(&[]).ratio()), (Some(0.5), None));
    }

    proptest! {
        #[test]
        fn every_probe_is_in_one_group(lost in proptest::collection::vec(any::<bool>(), 0..300), gmin in 1usize..20) {
            let g = group(&lost, gmin);
            prop_assert_eq!(g.burst_probes() + g.gap_probes(), lost.len());
            prop_assert_eq!(g.burst_losses + g.gap_losses, lost.iter().filter(|l| **l).count());
            prop_assert!(g.bursts.iter().all(|b| lost[b.start] && lost[b.end - 1] && b.len() > 1));
            // A larger Gmin only joins bursts.
            prop_assert!(group(&lost, gmin + 1).burst_losses >= g.burst_losses);
        }
    }
}
