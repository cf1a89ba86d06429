//! What is believed of a line after what was seen of it: reference sites, each weighed by how well it explains that.
//!
//! Decides the odds that a line misses what is asked in the long run, the share of time down to expect, and whether what
//! was seen is beyond every reference site, so that no odds over such lines may be given. It gives no verdict: `choice`
//! does.

pub mod lines;
pub mod past;
pub mod sites;
pub mod weigh;

use crate::judge::decide::ask::{Ask, Require};
use crate::judge::decide::evidence::Evidence;
use crate::judge::decide::prior::{Access, Prior};
use crate::judge::decide::thresholds::APART;
use crate::judge::stats::special::gamma_cdf;
use past::Past;
use sites::{CAP, FOLLOW, FOLLOW_UP, KINDS, Kind, RATE_SIGMA, SCALES, Site};
use weigh::{Watched, log_likelihood};

/// How much more often lines may fail than published before the odds must not be wrong about "IP alone" more than twice
/// as often as they say (choice: published rates are old and were sampled around bad weather; a provider, a country or
/// an installation may well be this much off).
pub const WORSE: f64 = 2.5;
/// What was seen is beyond the reference sites if none of them gives so many separate outages this chance, or one
/// outage so long a tenth of it (choice).
const BEYOND: f64 = 0.001;

/// What is asked of a line in the long run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// Most share of time down.
    Down(f64),
    /// Most outages a second, of those longer than so many seconds.
    Longer {
        /// Counted when longer than this, seconds.
        than: f64,
        /// Most of them a second.
        rate: f64,
    },
    /// Most share of time in which an outage has lasted longer than so many seconds.
    Undelivered {
        /// The time an alarm has, seconds.
        within: f64,
        /// Most share of time.
        share: f64,
    },
}

impl Limit {
    /// The limits among requirements that the odds go by; those of a watch and of single outages have no long run.
    ///
    /// Where a share of time is asked for, the rate of outages is left to what was watched: short ones are a nuisance,
    /// and what they cost in alarms is in the share of time.
    pub fn among<'a>(require: impl IntoIterator<Item = &'a Require>, e: &Evidence) -> Vec<Self> {
        let limit = |r: &Require| match r.ask {
            Ask::Availability { at_least, .. } => Some(Self::Down(1.0 - at_least)),
            Ask::LongOutages { longer_than_s, at_most, per_days, .. } => {
                Some(Self::Longer { than: longer_than_s, rate: at_most / (per_days * 86_400.0) })
            }
            Ask::Delivery { within_s, at_least, .. } => {
                Some(Self::Undelivered { within: e.within(within_s).secs(), share: 1.0 - at_least })
            }
            Ask::Coverage { .. } | Ask::Supervision { .. } => None,
        };
        let mut out: Vec<Self> = require.into_iter().filter_map(limit).collect();
        if out.iter().any(|l| !matches!(l, Self::Longer { .. })) {
            out.retain(|l| !matches!(l, Self::Longer { .. }));
        }
        out
    }

    /// Its value for short and long outages of a kind: what one outage adds to what is limited, and the limit.
    fn of(self, kind: &Kind) -> (f64, [f64; SCALES], f64) {
        let l = &kind.lengths;
        match self {
            Self::Down(most) => (kind.mean_short, kind.mean_long, most),
            Self::Longer { than, rate } => (l.short_over(than), std::array::from_fn(|i| l.long_over(i, than)), rate),
            Self::Undelivered { within, share } => (
                kind.mean_short - l.short_within(within),
                std::array::from_fn(|i| kind.mean_long[i] - l.long_within(i, within)),
                share,
            ),
        }
    }
}

/// Odds that a line misses what is asked.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Odds {
    /// At published rates.
    pub misses: f64,
    /// Were rates [`WORSE`] times the published ones.
    pub if_worse: f64,
}

/// What a quiet stretch to come would say, were the line of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ahead {
    /// How likely the line is of this kind.
    pub share: f64,
    /// How likely such a stretch then is.
    pub chance: f64,
    /// The odds after it.
    pub odds: Odds,
}

/// The weighed reference sites.
#[derive(Clone, Debug)]
pub struct Belief {
    kinds: Vec<Weighed>,
    beyond: bool,
    /// Up-time since the last outage; `None` where none was seen, so that the up-time began before the watch.
    up_since: Option<f64>,
    up_after: f64,
}

/// The sites of one kind; the weights of all kinds together sum to one.
#[derive(Clone, Debug)]
struct Weighed {
    kind: &'static Kind,
    as_published: Vec<f64>,
    if_worse: Vec<f64>,
}

impl Belief {
    /// Weighs the sites by what was watched, and by what is known of the line besides.
    pub fn new(watched: &Watched, prior: &Prior) -> Self {
        let chosen = prior.access.filter(|a| *a != Access::Unknown).map(|a| vec![(a, 1.0)]);
        let chosen = chosen.unwrap_or_else(|| KINDS.to_vec());
        let past = Past::of(prior);
        let kinds = chosen.into_iter().map(|(access, share)| (Kind::of(access), share));
        let logs: Vec<_> = kinds.map(|(k, share)| (k, share, log_likelihood(k, watched, &past))).collect();
        let top = logs.iter().flat_map(|l| &l.2).copied().fold(f64::NEG_INFINITY, f64::max);
        let weighed = |(kind, share, logs): (&'static Kind, f64, Vec<f64>)| {
            let each = share / kind.sites.len() as f64;
            // Of normal densities that far apart, one over the other.
            let shift = WORSE.ln() / RATE_SIGMA;
            let as_published: Vec<f64> = logs.iter().map(|l| each * (l - top).exp()).collect();
            let worse = |(s, w): (&Site, &f64)| w * (shift * s.z - shift * shift / 2.0).exp();
            let if_worse = kind.sites.iter().zip(&as_published).map(worse).collect();
            Weighed { kind, as_published, if_worse }
        };
        let mut kinds: Vec<Weighed> = logs.into_iter().map(weighed).collect();
        let sums = |of: fn(&Weighed) -> &Vec<f64>| kinds.iter().flat_map(of).sum::<f64>().max(f64::MIN_POSITIVE);
        let (published, worse) = (sums(|k| &k.as_published), sums(|k| &k.if_worse));
        for k in &mut kinds {
            k.as_published.iter_mut().for_each(|w| *w /= published);
            k.if_worse.iter_mut().for_each(|w| *w /= worse);
        }
        let beyond = kinds.iter().all(|k| beyond(k.kind, watched));
        let up_since = watched.events.last().map(|e| if e.ended { watched.up_after } else { 0.0 });
        Self { kinds, beyond, up_since, up_after: watched.up_after }
    }

    /// Whether what was seen is beyond every reference site: then no odds over such lines may be given.
    pub fn beyond(&self) -> bool {
        self.beyond
    }

    /// Odds that the line misses one of the limits.
    pub fn odds(&self, limits: &[Limit]) -> Odds {
        let mut odds = Odds::default();
        for k in &self.kinds {
            for (i, _) in missed(k.kind, limits).enumerate().filter(|m| m.1) {
                odds.misses += k.as_published[i];
                odds.if_worse += k.if_worse[i];
            }
        }
        Odds { misses: odds.misses.min(1.0), if_worse: odds.if_worse.min(1.0) }
    }

    /// What stretches of watching without an outage would say of these limits.
    pub fn quiet_ahead(&self, limits: &[Limit]) -> QuietAhead<'_> {
        QuietAhead { belief: self, missed: self.kinds.iter().map(|k| missed(k.kind, limits).collect()).collect() }
    }

    /// Probability that a site stays up for so long from now; an outage still running is taken to end now.
    fn quiet(&self, s: &Site, seconds: f64) -> f64 {
        let alone = (-seconds / s.up).exp();
        if !s.clustered {
            return alone;
        }
        let (far, near, gap) = match self.up_since {
            Some(gap) => (1.0 - FOLLOW, FOLLOW, gap),
            // The up-time began before the watch: long ones are met more often.
            None => ((1.0 - FOLLOW) * s.up, FOLLOW * FOLLOW_UP, self.up_after),
        };
        let still = |g: f64| far * (-g / s.up).exp() + near * (-g / FOLLOW_UP).exp();
        let now = still(gap);
        if now > 1e-290 { still(gap + seconds) / now } else { alone }
    }

    /// Shares of time down than which the line is better with these probabilities.
    pub fn down<const N: usize>(&self, at: [f64; N]) -> [f64; N] {
        let each = |k: &'_ Weighed| {
            let (short, long, _) = Limit::Down(1.0).of(k.kind);
            let down = move |s: &Site| {
                let down = mixed(s, short, &long);
                down / (down + s.mean_up)
            };
            k.kind.sites.iter().map(down).zip(k.as_published.clone()).collect::<Vec<_>>()
        };
        let mut all: Vec<(f64, f64)> = self.kinds.iter().flat_map(each).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        at.map(|p| {
            let mut sum = 0.0;
            let reached = all.iter().find(|(_, weight)| {
                sum += weight;
                sum >= p
            });
            reached.or(all.last()).map_or(f64::NAN, |x| x.0)
        })
    }
}

/// What quiet stretches to come would say; which sites miss the limits is worked out once for all of them.
#[derive(Clone, Debug)]
pub struct QuietAhead<'a> {
    belief: &'a Belief,
    missed: Vec<Vec<bool>>,
}

impl QuietAhead<'_> {
    /// What `seconds` of watching without an outage would say, kind by kind; none says what knowing the kind would.
    pub fn after(&self, seconds: f64) -> Vec<Ahead> {
        let one = |(k, missed): (&Weighed, &Vec<bool>)| {
            let (mut published, mut worse) = ([0.0; 3], [0.0; 3]);
            for ((i, missed), s) in missed.iter().enumerate().zip(&k.kind.sites) {
                let quiet = self.belief.quiet(s, seconds);
                for (sums, weight) in [(&mut published, k.as_published[i]), (&mut worse, k.if_worse[i])] {
                    sums[0] += weight;
                    sums[1] += weight * quiet;
                    sums[2] += if *missed { weight * quiet } else { 0.0 };
                }
            }
            let of = |s: [f64; 3]| s[2] / s[1].max(f64::MIN_POSITIVE);
            let odds = Odds { misses: of(published), if_worse: of(worse) };
            Ahead { share: published[0], chance: published[1] / published[0].max(f64::MIN_POSITIVE), odds }
        };
        self.belief.kinds.iter().zip(&self.missed).map(one).collect()
    }
}

/// What one outage of a site adds on average, from what short and long ones add.
fn mixed(s: &Site, short: f64, long: &[f64; SCALES]) -> f64 {
    (1.0 - s.long_share) * short + s.long_share * long[s.scale]
}

/// Whether each site of a kind misses one of the limits in the long run: what a cycle adds over its mean length.
fn missed<'a>(kind: &'a Kind, limits: &[Limit]) -> impl Iterator<Item = bool> + use<'a> {
    let each: Vec<_> = limits.iter().map(|l| l.of(kind)).collect();
    kind.sites.iter().map(move |s| {
        let cycle = s.mean_up + mixed(s, kind.mean_short, &kind.mean_long);
        each.iter().any(|(short, long, most)| mixed(s, *short, long) / cycle > *most)
    })
}

/// Whether no site of a kind gives so many separate outages, or so long a one, a chance worth the name.
fn beyond(kind: &Kind, watched: &Watched) -> bool {
    let separate = watched.events.iter().skip(1).filter(|e| e.up_before > APART).count() as f64;
    let up = watched.events.iter().map(|e| e.up_before).sum::<f64>() + watched.up_after;
    let longest = watched.events.iter().map(|e| e.length[0]).fold(0.0, f64::max);
    kind.sites.iter().all(|s| {
        let rate = if s.clustered { 1.0 - FOLLOW } else { 1.0 } / s.mean_up;
        let too_many = separate > 1.0 && gamma_cdf(separate, rate * up) < BEYOND;
        let too_long = longest > 0.0 && kind.lengths.long_over(s.scale, longest.min(0.99 * CAP)) < 0.1 * BEYOND;
        too_many || too_long || longest > 2.0 * CAP
    })
}

#[cfg(test)]
mod tests;
