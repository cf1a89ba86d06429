//! Requirements: named thresholds with the source of each, and how the evidence stands against them.
//!
//! A requirement is met or not met only when its bound says so; in between it is open and says how much longer to look.
//! The unit of evidence is the outage, never the probe.

use super::stats::band_posterior::{BandPosterior, BandPrior, clean_time_needed};
use super::stats::duration::Lasted;
use super::stats::rate;
use super::time::Micros;
use serde::{Deserialize, Serialize};

/// Availability is not called wanting on less than a week (facts: weekly load and lease renewals must be seen; choice).
const LEAST_WATCH: Micros = Micros::from_secs(7 * 86_400);
/// A named set of requirements.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RequirementSet {
    /// Its name, as site files use it.
    pub name: String,
    /// What it is for.
    pub words: String,
    /// The requirements.
    pub require: Vec<Require>,
}

/// One requirement.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Require {
    /// Its name.
    pub name: String,
    /// What is asked.
    pub ask: Ask,
    /// Where the number comes from.
    pub source: String,
    /// How well that was checked: V, S, M or choice.
    pub tag: String,
}

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Ask {
    /// Observed share of the elapsed time.
    Coverage {
        /// Least share.
        at_least: f64,
    },
    /// Share of time in which the path could deliver.
    Availability {
        /// Least share.
        at_least: f64,
        /// Probability needed to call it met (and, from the other side, not met).
        sure: f64,
    },
    /// Rate of outages longer than a length.
    LongOutages {
        /// Counted when longer than this, seconds.
        longer_than_s: f64,
        /// Most allowed ...
        at_most: f64,
        /// ... in so many days.
        per_days: f64,
        /// Confidence of the one-sided Poisson bounds.
        sure: f64,
    },
    /// No outage longer than the station's supervision interval.
    Supervision {
        /// The interval when the site file names none, seconds.
        interval_s: f64,
    },
}

/// How one requirement stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Shown to hold.
    Met,
    /// Shown not to hold.
    NotMet,
    /// The evidence decides neither.
    #[default]
    Open,
}

/// The evidence requirements are held against.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// Time from start to the last entry.
    pub elapsed: Micros,
    /// Time in which the path was observed.
    pub observed: Micros,
    /// The outages that count; those still running with their length so far.
    pub outages: Vec<Lasted>,
    /// The site's supervision interval.
    pub supervision: Option<Micros>,
}

/// One requirement held against the evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// The requirement.
    pub require: Require,
    /// How it stands.
    pub standing: Standing,
    /// What was measured.
    pub measured: Measured,
    /// Observed time still needed if nothing more goes wrong; `None` where it stands or that can't be said.
    pub needs: Option<Micros>,
}

/// What was measured for a requirement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measured {
    /// Share observed.
    Coverage(f64),
    /// Availability: point, and the probability that the requirement holds.
    Availability {
        /// Up time over observed time.
        point: f64,
        /// P(A >= required), after the evidence.
        holds: f64,
    },
    /// Outages longer than the length: count and one-sided bounds on the rate, each in the requirement's period.
    LongOutages {
        /// Count.
        count: u64,
        /// Lower bound.
        least: f64,
        /// Upper bound.
        most: f64,
    },
    /// Outages longer than the interval (s), and the longest outage (s).
    Supervision {
        /// The interval used, seconds.
        interval_s: f64,
        /// Outages longer than it.
        over: u32,
        /// The longest, seconds.
        longest_s: f64,
    },
}

impl Require {
    /// Holds the requirement against the evidence.
    pub fn hold(&self, e: &Evidence) -> Held {
        let seen = e.observed.secs();
        let (standing, measured, needs_s) = match self.ask {
            Ask::Coverage { at_least } => {
                let share = if e.elapsed.0 > 0 { seen / e.elapsed.secs() } else { 0.0 };
                let standing = if share >= at_least { Standing::Met } else { Standing::Open };
                // Watching on without a gap lifts the share: (seen + x) / (elapsed + x) = at_least.
                let needs = (at_least * e.elapsed.secs() - seen) / (1.0 - at_least);
                (standing, Measured::Coverage(share), needs.max(0.0))
            }
            Ask::Availability { at_least, sure } => {
                let lost: f64 = e.outages.iter().map(|o| o.seconds).sum();
                let up = (seen - lost).max(0.0);
                let holds = BandPosterior::new(BandPrior::PUBLISHED, &e.outages, up).probability_at_least(at_least);
                let measured = Measured::Availability { point: 1.0 - lost / seen.max(lost).max(1.0), holds };
                // With little observed the posterior is all prior: it may not reject on that.
                let standing = match three_way(holds, sure) {
                    Standing::NotMet if e.observed < LEAST_WATCH || e.outages.is_empty() => Standing::Open,
                    standing => standing,
                };
                let needs = clean_time_needed(BandPrior::PUBLISHED, &e.outages, up, at_least, sure);
                (standing, measured, needs.unwrap_or(f64::INFINITY))
            }
            Ask::LongOutages { longer_than_s, at_most, per_days, sure } => {
                let count = e.outages.iter().filter(|o| o.seconds > longer_than_s).count() as u64;
                let period = per_days * 86_400.0;
                let bounds = |more: f64| {
                    let periods = (seen + more).max(1.0) / period;
                    (rate::garwood_lower(count, periods, sure), rate::garwood_upper(count, periods, sure))
                };
                let (least, most) = bounds(0.0);
                let standing = if most <= at_most {
                    Standing::Met
                } else if least > at_most {
                    Standing::NotMet
                } else {
                    Standing::Open
                };
                (standing, Measured::LongOutages { count, least, most }, longer_until(|more| bounds(more).1 <= at_most))
            }
            Ask::Supervision { interval_s } => {
                let interval_s = e.supervision.map_or(interval_s, Micros::secs);
                let over = e.outages.iter().filter(|o| o.seconds > interval_s).count() as u32;
                let longest_s = e.outages.iter().map(|o| o.seconds).fold(0.0, f64::max);
                // A watch shorter than the interval cannot have seen an outage longer than it.
                let standing = match (over, seen >= interval_s) {
                    (0, true) => Standing::Met,
                    (0, false) => Standing::Open,
                    _ => Standing::NotMet,
                };
                (standing, Measured::Supervision { interval_s, over, longest_s }, (interval_s - seen).max(0.0))
            }
        };
        let needs = (standing == Standing::Open && needs_s.is_finite()).then_some(Micros((needs_s * 1e6) as i64));
        Held { require: self.clone(), standing, measured, needs }
    }
}

/// Met at `sure`, not met at `1 - sure`, open in between.
fn three_way(holds: f64, sure: f64) -> Standing {
    if holds >= sure {
        Standing::Met
    } else if holds <= 1.0 - sure {
        Standing::NotMet
    } else {
        Standing::Open
    }
}

/// Least further seconds, to an hour, until `enough` holds; infinite beyond ten years. `enough` must be monotone.
fn longer_until(enough: impl Fn(f64) -> bool) -> f64 {
    const HOUR: f64 = 3_600.0;
    let (mut low, mut high) = (0.0, 10.0 * 8_766.0 * HOUR);
    if enough(low) {
        return 0.0;
    }
    if !enough(high) {
        return f64::INFINITY;
    }
    while high - low > HOUR {
        let middle = 0.5 * (low + high);
        if enough(middle) { high = middle } else { low = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(n: f64) -> Micros {
        Micros((n * 86_400e6) as i64)
    }

    fn require(ask: Ask) -> Require {
        Require { name: "r".into(), ask, source: "s".into(), tag: "choice".into() }
    }

    #[test]
    fn a_clean_stretch_of_ninety_days_just_supports_one_long_outage_a_month() {
        // facts: zero events need -ln(0.05) = 2.9957 periods (Garwood 1936; Hanley and Lippman-Hand 1983).
        let r = require(Ask::LongOutages { longer_than_s: 60.0, at_most: 1.0, per_days: 30.0, sure: 0.95 });
        let held = |n| r.hold(&Evidence { elapsed: days(n), observed: days(n), ..Evidence::default() });
        assert_eq!(held(89.8).standing, Standing::Open);
        assert_eq!(held(89.9).standing, Standing::Met);
        let needs = held(0.0).needs.expect("open").secs() / 86_400.0;
        assert!((needs - 89.87).abs() < 0.1, "{needs}");
    }

    #[test]
    fn two_long_outages_in_a_day_are_not_met_and_short_ones_do_not_count() {
        let r = require(Ask::LongOutages { longer_than_s: 60.0, at_most: 1.0, per_days: 30.0, sure: 0.95 });
        let with = |secs: f64| {
            let outages = vec![Lasted { seconds: secs, ended: true }; 2];
            r.hold(&Evidence { elapsed: days(1.0), observed: days(1.0), outages, supervision: None }).standing
        };
        assert_eq!(with(61.0), Standing::NotMet);
        assert_eq!(with(59.0), Standing::Open);
    }

    #[test]
    fn a_watch_shorter_than_the_supervision_interval_leaves_it_open() {
        let r = require(Ask::Supervision { interval_s: 90_000.0 });
        let held = r.hold(&Evidence { elapsed: days(0.5), observed: days(0.5), ..Evidence::default() });
        assert_eq!(held.standing, Standing::Open);
        assert!((held.needs.expect("open").secs() - 46_800.0).abs() < 1.0);
    }

    #[test]
    fn the_shipped_set_reads_and_names_a_source_for_every_number() {
        let text = include_str!("../../config/requirements/household.toml");
        let set: RequirementSet = toml::from_str(text).expect("the shipped set parses");
        assert_eq!(set.require.len(), 4);
        assert!(
            set.require.iter().all(|r| !r.source.is_empty() && ["V", "S", "M", "choice"].contains(&r.tag.as_str()))
        );
    }
}
