//! Whether the one-sided 95 % bound on unavailability covers, and how wide it is, on a grid of truths.

use crate::draw::Draw;
use crate::lognormal_posterior::{LognormalPosterior, LognormalPrior};
use crate::world::{CAP, DAY, Site, Technology};
use pathproof::judge::stats::band_posterior::{BandPosterior, BandPrior};
use pathproof::judge::stats::duration::Lasted;
use std::fmt::Write as _;

/// How long outages last.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Lengths {
    /// Mean, seconds.
    Exponential(f64),
    /// Median, seconds, and sigma.
    Lognormal(f64, f64),
    /// 85 % lognormal(5 min, 1) and 15 % lognormal(2 h, 1.5): the heavier tail.
    Mixture,
    /// The published lengths of one kind of line.
    Published(Technology),
    /// Exponential of a quarter of an hour, and besides, of a rate of its own, one of so many seconds in so many days.
    Rare(f64, f64),
}

/// Mean length of the mixture's long part, seconds: 7200 e^(1.5²/2).
const LONG_MEAN: f64 = 7_200.0 * 3.080_216_848_918_031;

pub(crate) const GRID: [(Lengths, &str); 11] = [
    (Lengths::Exponential(900.0), "exponential, mean 15 min"),
    (Lengths::Lognormal(1_800.0, 1.0), "lognormal, median 30 min, sigma 1"),
    (Lengths::Lognormal(300.0, 1.5), "lognormal, median 5 min, sigma 1.5"),
    (Lengths::Lognormal(120.0, 2.0), "lognormal, median 2 min, sigma 2"),
    (Lengths::Mixture, "mixture, 85 % (5 min, 1) + 15 % (2 h, 1.5)"),
    (Lengths::Published(Technology::Cable), "published cable histogram"),
    (Lengths::Published(Technology::Dsl), "published DSL histogram"),
    (Lengths::Published(Technology::Fibre), "published shares of fibre"),
    (Lengths::Rare(259_200.0, 365.0), "15 min, and 3 d once a year"),
    (Lengths::Rare(43_200.0, 90.0), "15 min, and 12 h once in 90 d"),
    (Lengths::Rare(14_400.0, 30.0), "15 min, and 4 h once in 30 d"),
];

impl Lengths {
    fn mean(self) -> f64 {
        match self {
            Self::Exponential(mean) => mean,
            Self::Lognormal(median, sigma) => median * (sigma * sigma / 2.0f64).exp(),
            Self::Mixture => 0.85 * 300.0 * 0.5f64.exp() + 0.15 * LONG_MEAN,
            Self::Published(of) => Site::published(of, CAP).mean_down(),
            Self::Rare(..) => 900.0,
        }
    }

    fn draw(self, draw: &mut Draw) -> f64 {
        match self {
            Self::Exponential(mean) => draw.exponential(mean),
            Self::Lognormal(median, sigma) => draw.lognormal(median, sigma),
            Self::Mixture if draw.chance(0.15) => draw.lognormal(7_200.0, 1.5),
            Self::Mixture => draw.lognormal(300.0, 1.0),
            Self::Published(of) => Site::published(of, CAP).length(draw),
            Self::Rare(..) => draw.exponential(900.0),
        }
    }

    /// A watch of so many seconds begun at a random moment; an outage running at its end is still running.
    fn survey(self, up: f64, watch: f64, draw: &mut Draw) -> Vec<Lasted> {
        let mut at = -20.0 * DAY + draw.exponential(up);
        let mut out = Vec::new();
        let mut seen = |at: f64, end: f64| {
            if end > 0.0 {
                out.push(Lasted { seconds: end.min(watch) - at.max(0.0), ended: end <= watch });
            }
        };
        while at < watch {
            let end = at + self.draw(draw);
            seen(at, end);
            at = end + draw.exponential(up);
        }
        if let Self::Rare(length, days) = self {
            // They hardly ever meet another, and then both are counted.
            let mut at = -20.0 * DAY + draw.exponential(days * DAY);
            while at < watch {
                seen(at, at + length);
                at += length + draw.exponential(days * DAY);
            }
        }
        out
    }

    /// Long-run share of time down, with so much up-time between outages.
    fn truth(self, up: f64) -> f64 {
        let plain = self.mean() / (self.mean() + up);
        match self {
            Self::Rare(length, days) => {
                let rare = length / (length + days * DAY);
                plain + rare - plain * rare
            }
            _ => plain,
        }
    }
}

/// One row's result: coverage, and the median of the bound over the truth.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cell {
    pub(crate) coverage: f64,
    pub(crate) median_ratio: f64,
    pub(crate) without_outage: f64,
    /// The same of the one-lognormal posterior.
    pub(crate) plain: Option<(f64, f64)>,
}

/// `widths`: how many of the sites also give the width of the bound, which costs more.
pub(crate) fn cell(
    lengths: Lengths,
    prior: BandPrior,
    hours_between: f64,
    days: f64,
    sites: u32,
    widths: u32,
    seed: u64,
) -> Cell {
    let (up, watch) = (hours_between * 3_600.0, days * DAY);
    let truth = lengths.truth(up);
    let mut draw = Draw::new(seed);
    let (mut covered, mut plain_covered, mut clean) = (0, 0, 0);
    let (mut widths_banded, mut widths_plain) = (Vec::new(), Vec::new());
    for site in 0..sites {
        let outages = lengths.survey(up, watch, &mut draw);
        clean += u32::from(outages.is_empty());
        let lost: f64 = outages.iter().map(|o| o.seconds).sum();
        let up_seen = (watch - lost).max(1.0);
        let posterior = BandPosterior::new(prior, &outages, up_seen);
        covered += u32::from(posterior.probability_below(truth) <= 0.95);
        if site < widths {
            widths_banded.push(posterior.quantile(0.95) / truth);
            let ended: Vec<f64> = outages.iter().filter(|o| o.ended).map(|o| o.seconds).collect();
            let one = LognormalPosterior::new(LognormalPrior::WEAK, &ended, outages.len() as u64, up_seen, 40);
            plain_covered += u32::from(one.probability_below(truth) <= 0.95);
            widths_plain.push(one.quantile(0.95) / truth);
        }
    }
    let share = |n: u32, of: u32| f64::from(n) / f64::from(of);
    Cell {
        coverage: share(covered, sites),
        median_ratio: median(&mut widths_banded),
        without_outage: share(clean, sites),
        plain: (widths > 0).then(|| (share(plain_covered, widths), median(&mut widths_plain))),
    }
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// The least median ratio any bound can have on sites with only these outages, if it is also to cover 95 % on sites that
/// have the mixture's long outages besides.
///
/// With long outages at a rate r, a watch of length T shows none with chance e^(-rT), and is then distributed as on a
/// site without them. If the median bound there were under the unavailability here, at least half of those watches
/// would not cover; so e^(-rT)/2 <= 0.05 for every such r, that is r T >= ln 10.
pub(crate) fn least_ratio(lengths: Lengths, hours_between: f64, days: f64) -> Option<f64> {
    let long_ones = matches!(lengths, Lengths::Mixture | Lengths::Published(_) | Lengths::Rare(..));
    let extra = 10f64.ln() / (days * DAY) * LONG_MEAN;
    (!long_ones).then(|| {
        let ratio = lengths.mean() / (hours_between * 3_600.0);
        let with = ratio + extra;
        (with / (1.0 + with)) / (ratio / (1.0 + ratio))
    })
}

/// The grid as a table, and the least coverage in it.
pub(crate) fn grid(prior: BandPrior, days: &[f64], hours: &[f64], sites: u32, widths: u32, seed: u64) -> (String, f64) {
    let mut out = String::from(
        "| true lengths | one outage per | watched | watches without one | coverage | median bound / truth | one lognormal: coverage, median bound / truth | least any honest bound could have |\n|---|---|---|---|---|---|---|---|\n",
    );
    let mut least = 1.0f64;
    for (lengths, name) in GRID {
        for h in hours {
            for d in days {
                let c = cell(lengths, prior, *h, *d, sites, widths, seed);
                least = least.min(c.coverage);
                let plain = c.plain.map_or("-".into(), |(p, r)| format!("{p:.3}, {r:.1}"));
                let floor = least_ratio(lengths, *h, *d).map_or("-".into(), |r| format!("{r:.1}"));
                let _ = writeln!(
                    out,
                    "| {name} | {h} h | {d} d | {:.0} % | {:.3} | {:.1} | {plain} | {floor} |",
                    100.0 * c.without_outage,
                    c.coverage,
                    c.median_ratio
                );
            }
        }
    }
    (out, least)
}
