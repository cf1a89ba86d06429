//! What is believed of a line before it is watched: from its kind, and from the outages the customer recalls.
//!
//! Decides the belief ([`BandPrior`]) and prints every number of it with its source. It never decides a verdict alone:
//! `verdict` judges on the evidence without it, and what is believed may only withhold "IP alone is enough".
//!
//! Sources. Days between dropouts by kind of line [PADMAN19], sampled around severe weather, so rather too bad. The share
//! of dropouts confirmed as outages (the rest are renumberings), and the lengths [PADMAN18]. Outages under eleven minutes
//! were not seen there; their share is from [PADMAN16]. Check, not input: share of time with at most 10 % loss
//! [BISCHOF18] (the median of the named services of each kind).

use crate::judge::facts::Micros;
use crate::judge::stats::band_posterior::BandPrior;
use serde::{Deserialize, Serialize};

const DAY: f64 = 86_400.0;

/// The kind of line the site's internet comes by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Access {
    /// Glass to the building.
    Fibre,
    /// The television cable.
    Cable,
    /// The telephone pair.
    Dsl,
    /// Radio from a mast, at a fixed place.
    FixedWireless,
    /// Radio from orbit.
    Satellite,
    /// Not known.
    #[default]
    Unknown,
}

/// What is published of one kind of line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Published {
    /// Days between dropouts.
    pub days_between: f64,
    /// Share of dropouts confirmed as outages.
    pub confirmed: f64,
    /// Share of outages that are over within ten minutes.
    pub short_share: f64,
    /// Pareto index of the lengths of the others.
    pub long_index: f64,
    /// Share of time with at most 10 % loss; `None` where none is published.
    pub availability: Option<f64>,
}

impl Access {
    /// Every kind.
    pub const ALL: [Self; 6] =
        [Self::Fibre, Self::Cable, Self::Dsl, Self::FixedWireless, Self::Satellite, Self::Unknown];

    /// The kind in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Fibre => "fibre",
            Self::Cable => "cable",
            Self::Dsl => "DSL",
            Self::FixedWireless => "fixed wireless",
            Self::Satellite => "satellite",
            Self::Unknown => "a line of unknown kind",
        }
    }

    /// The published figures. Unknown is all kinds together. The short shares are measured on one cable and one DSL
    /// network; the other kinds borrow the cable's.
    pub const fn published(self) -> Published {
        let (days_between, confirmed, short_share, long_index, availability) = match self {
            Self::Fibre => (30.0, 0.563, 0.404, 0.75, Some(0.997_85)),
            Self::Cable => (16.0, 0.88, 0.404, 0.75, Some(0.995_9)),
            Self::Dsl => (9.0, 0.31, 0.633, 0.5, Some(0.994_05)),
            Self::FixedWireless => (8.0, 0.815, 0.404, 0.75, Some(0.981_3)),
            Self::Satellite => (2.0, 0.723, 0.404, 0.75, Some(0.956_05)),
            Self::Unknown => (8.0, 0.601, 0.404, 0.75, None),
        };
        Published { days_between, confirmed, short_share, long_index, availability }
    }
}

/// Outages the customer recalls of the last year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recalled {
    /// How many.
    pub last_year: u32,
    /// How long the worst lasted.
    pub worst: Option<Micros>,
}

/// What one recalled outage is worth against one that was measured (choice: people miss what happens while they sleep
/// or are out, and mistake lengths; a quarter lets a year's memory weigh like three months of watching at the most).
pub const RECALL_WEIGHT: f64 = 0.25;
/// Share of outages that are noticed at all (choice: waking hours at home).
pub const RECALL_NOTICED: f64 = 0.5;

/// What is known of a site's line before it is watched.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Prior {
    /// Its kind; `None` uses no published rate.
    pub access: Option<Access>,
    /// What the customer recalls; `None` when nobody was asked.
    pub recalled: Option<Recalled>,
}

/// One number of the belief, for the report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What is believed.
    pub what: String,
    /// Where it comes from.
    pub source: &'static str,
    /// How well that was checked: D, M or choice.
    pub tag: &'static str,
}

impl Prior {
    /// Nothing known of the line: lengths as published, no rate.
    pub const NONE: Self = Self { access: None, recalled: None };

    /// Whether it says more than [`Prior::NONE`].
    pub fn says_something(self) -> bool {
        self != Self::NONE
    }

    /// The belief in the form the availability posterior takes: the rate of long outages is worth one outage in the
    /// published time between them, lengths as published for the kind.
    pub fn belief(self) -> BandPrior {
        let mut b = BandPrior::PUBLISHED;
        if let Some(access) = self.access {
            let p = access.published();
            let long_days = p.days_between / p.confirmed;
            b.long_index = p.long_index;
            b.long_exposure = b.long_count * long_days * DAY;
            b.short_exposure = b.short_count * long_days * DAY * (1.0 - p.short_share) / p.short_share;
        }
        if let Some(r) = self.recalled {
            let n = f64::from(r.last_year);
            b.long_count += RECALL_WEIGHT * n;
            b.long_exposure += RECALL_WEIGHT * RECALL_NOTICED * 365.25 * DAY;
            if let (Some(worst), true) = (r.worst, r.last_year > 0)
                && worst.secs() > b.border
            {
                // ln of a Pareto length over its least is exponential, and the longest of n of those has mean
                // (1 + 1/2 + ... + 1/n)/a [RENYI53]: so the mean log is that of the worst over H(n).
                let harmonic: f64 = (1..=r.last_year).map(|i| 1.0 / f64::from(i)).sum();
                let mean_log = (worst.secs().min(b.cap) / b.border).ln() / harmonic;
                let (weight, logs) = (RECALL_WEIGHT * n, b.long_weight / b.long_index);
                b.long_weight += weight;
                b.long_index = b.long_weight / (logs + weight * mean_log);
            }
        }
        b
    }

    /// The belief number by number; what [`Prior::NONE`] says is among them.
    pub fn lines(self) -> Vec<Line> {
        // [PADMAN19], [PADMAN18]
        const SIGCOMM: &str = "days between dropouts by kind of line, SIGCOMM 2019, doi 10.1145/3341302.3342084; confirmed share from the \
             thesis of its first author, 2018; the weight is a choice";
        // [PADMAN16], [PADMAN18]
        const LENGTHS: &str = "outage lengths, IMC 2016, doi 10.1145/2987443.2987461, and the 2018 thesis of its first author; the weight is a choice";
        let line = |what: String, source, tag| Line { what, source, tag };
        let belief = self.belief();
        let mut out = Vec::new();
        match self.access {
            Some(access) => {
                let p = access.published();
                out.push(line(
                    format!(
                        "{}: an outage of ten minutes or more every {:.0} days, worth one outage seen",
                        access.words(),
                        p.days_between / p.confirmed
                    ),
                    SIGCOMM,
                    "D",
                ));
            }
            None => out.push(line(
                "no rate of outages: one outage is added to those seen, so that none seen is not taken for none there"
                    .into(),
                // [GARWOOD36]
                "Garwood, Biometrika 28 (1936): the bound for a count of none",
                "M",
            )),
        }
        out.push(line(
            format!(
                "of outages of ten minutes or more, {:.0} in 100 last over an hour and {:.0} in 100 over half a day; worth {:.0} outages seen, none longer than {}",
                100.0 * 6_f64.powf(-belief.long_index),
                100.0 * 72_f64.powf(-belief.long_index),
                belief.long_weight,
                Micros((belief.cap * 1e6) as i64)
            ),
            LENGTHS,
            "D",
        ));
        if let Some(r) = self.recalled {
            let worst = r.worst.map_or(String::new(), |w| format!(", the worst {w}"));
            out.push(line(
                format!(
                    "recalled: {} in the last year{worst}; each worth {RECALL_WEIGHT} of one measured, and half the year's taken as noticed",
                    r.last_year
                ),
                "the customer's memory; its weight is this project's choice",
                "choice",
            ));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::stats::band_posterior::BandPosterior;

    #[test]
    fn rates_and_lengths_from_one_study_give_the_availability_another_one_measured() {
        // The 10 % column of [BISCHOF18] against the rates of [PADMAN19] and the lengths of [PADMAN16]: two studies with
        // other methods and years. How far they are apart in unavailability, the mean length by numeric integration of the
        // capped Pareto tail elsewhere [CALC26]; fixed wireless is the worst, 1.73 times less than measured.
        let apart = [0.9235, 1.4193, 1.6309, 0.5764, 0.8703];
        let mut of = apart.into_iter();
        let mut worst = 1.0f64;
        for access in Access::ALL {
            let Some(measured) = access.published().availability else { continue };
            let p = access.published();
            let (border, ratio, d) = (600.0, 432.0_f64, 1.0 - p.long_index);
            let mean = border * (1.0 + (ratio.powf(d) - 1.0) / d);
            let believed = mean / (p.days_between / p.confirmed * DAY);
            let factor = believed / (1.0 - measured);
            assert!((factor - of.next().expect("five kinds")).abs() < 1e-4, "{access:?}: {factor}");
            worst = worst.max(factor).max(1.0 / factor);
        }
        assert!((worst - 1.73).abs() < 0.005, "{worst}");
    }

    #[test]
    fn the_kinds_come_in_the_published_order() {
        // [BISCHOF18], 10 % column: fibre, cable, DSL, fixed wireless, satellite.
        let odds = |access| BandPosterior::new(Prior { access: Some(access), recalled: None }.belief(), &[], 3.0 * DAY);
        let at = |access| odds(access).probability_at_least(0.99);
        assert!(at(Access::Fibre) > at(Access::Cable));
        assert!(at(Access::Cable) > at(Access::FixedWireless));
        assert!(at(Access::FixedWireless) > at(Access::Satellite));
        assert!(at(Access::Fibre) > at(Access::Dsl) && at(Access::Dsl) > at(Access::Satellite));
    }

    #[test]
    fn with_nothing_known_the_belief_is_the_published_one_without_a_rate() {
        assert_eq!(Prior::NONE.belief(), BandPrior::PUBLISHED);
        assert!(!Prior::NONE.says_something());
    }

    #[test]
    fn recalled_outages_weigh_a_quarter_and_a_long_worst_one_makes_the_tail_heavier() {
        let with = |last_year, hours: i64| Prior {
            access: Some(Access::Cable),
            recalled: Some(Recalled { last_year, worst: Some(Micros::from_secs(hours * 3_600)) }),
        };
        let cable = Prior { access: Some(Access::Cable), recalled: None }.belief();
        let three = with(3, 12).belief();
        assert!((three.long_count - cable.long_count - 0.75).abs() < 1e-12);
        // 12 h is ln 72 = 4.277 over the border; H(3) = 11/6, so the mean log is 2.333 and an index of 0.429 each.
        let logs = 16.0 / 0.75 + 0.75 * 72_f64.ln() / (11.0 / 6.0);
        assert!((three.long_index - 16.75 / logs).abs() < 1e-12 && three.long_index < cable.long_index);
        let odds = |b| BandPosterior::new(b, &[], 7.0 * DAY).probability_at_least(0.995);
        assert!(odds(with(12, 12).belief()) < odds(three));
        assert!(odds(with(0, 0).belief()) > odds(cable), "a year recalled as clean is weak evidence for the line");
    }

    #[test]
    fn every_number_is_printed_with_a_source() {
        let p = Prior { access: Some(Access::Dsl), recalled: Some(Recalled { last_year: 3, worst: None }) };
        assert_eq!(p.lines().len(), 3);
        assert!(p.lines().iter().all(|l| !l.source.is_empty() && ["D", "M", "choice"].contains(&l.tag)));
        assert!(p.lines()[0].what.contains("29 days"), "{:?}", p.lines()[0]);
    }
}
