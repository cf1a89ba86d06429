//! The choice for today over sites whose truth is known: how often it is wrong, what it costs, whether its odds mean
//! what they say. Outages go to the judge's decision as they are, without probes.
//!
//! Besides the population of `world` (which the judge's belief is built like), at other rates: one built from another
//! study, and ones of another shape. What each of those takes is said at [`Shape`].

use crate::draw::Draw;
use crate::rule::{evidence, household};
use crate::world::{CAP, DAY, History, Site, Technology};
use pathproof::judge::choice::{Choice, Ground};
use pathproof::judge::decide::kinds::by_evidence;
use pathproof::judge::prior::{DROPS_SEEN, Unbroken};
use pathproof::judge::requirement::{Evidence, Held, Require};
use pathproof::judge::thresholds::Caution;
use pathproof::judge::{Access, Prior, VerdictKind};

/// What a population is like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Shape {
    /// As published, with rates so many times the published ones.
    Times(f64),
    /// Another study: mean time lost by kind, fibre 0.21 %, cable 0.44, DSL 0.68, fixed wireless 1.9, satellite 4.0, and
    /// outages of 1 to 2 h on average (TPRC 46, 2018, SSRN 3121942): exponential lengths of 1.5 h; the spread of rates
    /// between sites as elsewhere (choice).
    OtherStudy,
    /// Rates as published; lengths Weibull of shape 0.4 with the site's mean.
    Weibull,
    /// Rates as published; 40 s or 8 h, with the site's mean.
    TwoHumped,
    /// Rates and lengths as published; each outage calls forth half another within hours.
    SelfExciting,
    /// As published, with a rate that swings by nine tenths over the week.
    Weekly,
    /// As published, and 3 d once a year besides.
    RareLong,
}

/// One site, what happened, and its truth.
pub(crate) struct Watched {
    pub(crate) technology: Technology,
    pub(crate) misses: bool,
    pub(crate) history: History,
    /// How long the router had been connected when the watch began, seconds, by a count that shows a part of the outages;
    /// `None` where nothing counted, or an outage was running.
    pub(crate) connected: Option<f64>,
}

/// Days of the past that a count can tell of; longer ones say so many.
const COUNTED: f64 = 400.0;
/// Mean time until a router's count begins anew for another reason, seconds (choice: two months, not the judge's three).
const RESTARTS: f64 = 60.0 * DAY;

/// Gamma(3.5): the mean of a Weibull of shape 0.4 at unit scale (DLMF 5.4.6: 15 sqrt(pi)/8).
const WEIBULL_MEAN: f64 = 3.323_350_970_447_843;

impl Shape {
    /// A site watched for so many days. `counter`: its router counts the time connected, and shows this share of outages.
    pub(crate) fn draw(self, technology: Technology, days: f64, counter: Option<f64>, draw: &mut Draw) -> Watched {
        let before = if counter.is_some() { COUNTED * DAY } else { 0.0 };
        let watch = days * DAY;
        let (misses, history) = self.life(technology, before + watch, draw);
        let connected = counter.and_then(|visible| connected(&history, before, visible, draw));
        let shifted = history.iter().map(|(from, to)| (from - before, to - before));
        let history = shifted.filter(|s| s.1 > 0.0).map(|(from, to)| (from.max(0.0), to)).collect();
        Watched { technology, misses, history, connected }
    }

    /// Whether a site misses the availability in the long run, and its outages in so many seconds.
    fn life(self, technology: Technology, watch: f64, draw: &mut Draw) -> (bool, History) {
        let factor = if let Self::Times(f) = self { f } else { 1.0 };
        let site = Site::draw_times(technology, CAP, factor, draw);
        let down = site.mean_down();
        let rate = site.longer_in(0.0, 1.0) / DAY;
        // Starts by a rate that may change with time, each with a length; overlapping ones are one.
        let mut plain = |rate: f64, swing: f64, length: &dyn Fn(&mut Draw) -> f64| {
            let mut at = -10.0 * DAY;
            let mut out = Vec::new();
            loop {
                at += draw.exponential(1.0 / (rate * (1.0 + swing)));
                if at >= watch {
                    break out;
                }
                let now = (1.0 + swing * (std::f64::consts::TAU * at / (7.0 * DAY)).cos()) / (1.0 + swing);
                if draw.chance(now) {
                    out.push((at, at + length(draw)));
                }
            }
        };
        let (starts, unavailability) = match self {
            Self::Times(_) => {
                return (site.unavailability() > ALLOWED, site.history(watch, draw));
            }
            Self::OtherStudy => {
                let mean = match technology {
                    Technology::Fibre => 0.0021,
                    Technology::Cable => 0.0044,
                    Technology::Dsl => 0.0068,
                    Technology::FixedWireless => 0.019,
                    Technology::Satellite => 0.040,
                };
                let lost = mean * rate / Site::published(technology, CAP).longer_in(0.0, 1.0) * DAY;
                (plain(lost / 5_400.0, 0.0, &|d| d.exponential(5_400.0)), lost)
            }
            Self::Weibull => {
                let scale = down / WEIBULL_MEAN;
                (plain(rate, 0.0, &|d| scale * d.exponential(1.0).powf(2.5)), rate * down)
            }
            Self::TwoHumped => {
                let long = ((down - 40.0) / (28_800.0 - 40.0)).clamp(0.0, 1.0);
                (plain(rate, 0.0, &|d| if d.chance(long) { 28_800.0 } else { 40.0 }), rate * down)
            }
            Self::SelfExciting => {
                let mut all = plain(rate / 2.0, 0.0, &|d| site.length(d));
                let mut next = 0;
                while next < all.len() {
                    if draw.chance(0.5) {
                        let at = all[next].1 + draw.exponential(6.0 * 3_600.0);
                        all.push((at, at + site.length(draw)));
                    }
                    next += 1;
                }
                (all, rate * down)
            }
            Self::Weekly => (plain(rate, 0.9, &|d| site.length(d)), rate * down),
            Self::RareLong => {
                let mut all = plain(rate, 0.0, &|d| site.length(d));
                all.extend(plain(1.0 / (365.0 * DAY), 0.0, &|_| 259_200.0));
                (all, rate * down + 3.0 / 365.0)
            }
        };
        (unavailability > ALLOWED, joined(starts, watch))
    }
}

/// How long a count of time connected says at `now`.
fn connected(history: &[(f64, f64)], now: f64, visible: f64, draw: &mut Draw) -> Option<f64> {
    if history.iter().any(|(from, to)| (*from..*to).contains(&now)) {
        return None;
    }
    let seen: Vec<f64> = history.iter().filter(|s| s.1 <= now && draw.chance(visible)).map(|s| s.1).collect();
    let drop = seen.last().map_or(now, |at| now - at);
    Some(drop.min(draw.exponential(RESTARTS)))
}

/// Share of time down that the availability of the household set allows.
const ALLOWED: f64 = 0.005;

fn joined(mut spans: History, watch: f64) -> History {
    spans.retain(|s| s.1 > 0.0 && s.0 < watch);
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: History = Vec::new();
    for (from, to) in spans {
        match out.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => out.push((from.max(0.0), to)),
        }
    }
    out
}

pub(crate) fn access(t: Technology) -> Access {
    match t {
        Technology::Fibre => Access::Fibre,
        Technology::Cable => Access::Cable,
        Technology::Dsl => Access::Dsl,
        Technology::FixedWireless => Access::FixedWireless,
        Technology::Satellite => Access::Satellite,
    }
}

/// The household set. The rate of outages, a nuisance, is held by what was watched; odds are by availability, and so is
/// what is counted as wrong.
pub(crate) fn asked() -> Vec<Require> {
    household().require
}

/// One site and what was decided on it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Told {
    pub(crate) technology: Technology,
    /// Its weight in the mix of kinds.
    pub(crate) weight: f64,
    pub(crate) misses: bool,
    pub(crate) kind: VerdictKind,
    /// Whether today's choice is IP alone, for each caution of [`CAUTIONS`].
    pub(crate) alone: [bool; 4],
    /// Whether the evidence alone calls it enough: the rule before odds.
    pub(crate) shown: bool,
    /// Odds of missing it, at published rates and at worse ones; one half where none are given.
    pub(crate) odds: [f64; 2],
    pub(crate) clean: bool,
}

/// How careful: unneeded backups that weigh as much as one line wrongly left alone. The third is the default.
pub(crate) const CAUTIONS: [f64; 4] = [1.0, 3.0, 9.0, 19.0];

/// What one site is told. Without `search` nobody asks what may turn the choice, and what is between stays open.
fn told(w: &Watched, days: f64, run: &Run<'_>, asked: &[Require], search: bool) -> Told {
    let e: Evidence = evidence(&w.history, days * DAY);
    let held: Vec<Held> = asked.iter().map(|r| r.hold_only(&e)).collect();
    let ground = |caution| Ground {
        prior: Prior {
            access: run.known.then(|| access(w.technology)),
            recalled: None,
            unbroken: w.connected.map(|seconds| Unbroken { seconds, visible: DROPS_SEEN }),
        },
        caution: Caution(caution),
        mend: false,
        out_of_scope: false,
        stands: None,
    };
    let default = ground(CAUTIONS[2]);
    let default = if search { default.decide(&e, &held) } else { default.decide_only(&e, &held) };
    let odds = default.odds.map_or([0.5; 2], |o| [o.misses, o.if_worse]);
    let allowed = ground(CAUTIONS[2]).allows(&e, &held);
    let shown = by_evidence(held.iter().map(|h| h.standing), false, false) == VerdictKind::IpAlone;
    let alone = CAUTIONS.map(|r| {
        let most = Caution(r).most();
        match default.odds {
            Some(o) => allowed && o.misses <= most && (shown || o.if_worse <= 2.0 * most),
            None => shown,
        }
    });
    assert_eq!(alone[2], default.choice == Some(Choice::IpAlone));
    Told {
        technology: w.technology,
        weight: w.technology.mix() / f64::from(run.each),
        misses: w.misses,
        kind: default.kind,
        alone,
        shown,
        odds,
        clean: w.history.is_empty(),
    }
}

/// What a run of the simulator is given.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Run<'a> {
    pub(crate) shape: Shape,
    pub(crate) kinds: &'a [Technology],
    pub(crate) days: f64,
    /// Whether the kind of line is known.
    pub(crate) known: bool,
    /// The share of outages that the router's count in truth shows, where it has one.
    pub(crate) counter: Option<f64>,
    /// Sites of each kind.
    pub(crate) each: u32,
    pub(crate) seed: u64,
}

impl Run<'_> {
    /// What each site was told.
    pub(crate) fn told(&self) -> Vec<Told> {
        let asked = asked();
        self.sites(|w| told(&w, self.days, self, &asked, true))
    }

    /// The same with a look at the end of each day: the first one that says IP alone stands, else the last.
    pub(crate) fn told_daily(&self) -> Vec<Told> {
        let asked = asked();
        self.sites(|w| {
            let looks = (7..=self.days as u32).map(|day| {
                let days = f64::from(day);
                let began = w.history.iter().filter(|s| s.0 < days * DAY).copied().collect();
                told(&Watched { history: began, ..w }, days, self, &asked, day == self.days as u32)
            });
            let mut last = None;
            for look in looks {
                last = Some(look);
                if look.alone[2] {
                    break;
                }
            }
            last.expect("a week or more")
        })
    }

    fn sites(&self, mut each: impl FnMut(Watched) -> Told) -> Vec<Told> {
        let mut out = Vec::new();
        for t in self.kinds {
            let mut draw = Draw::new(self.seed + *t as u64);
            out.extend((0..self.each).map(|_| each(self.shape.draw(*t, self.days, self.counter, &mut draw))));
        }
        out
    }
}

/// Share of all, and of those how many miss, among the sites a rule picks.
pub(crate) fn picked(rows: &[Told], rule: impl Fn(&Told) -> bool) -> (f64, f64) {
    // From plain zero, as the sum of nothing is minus zero.
    let sum = |of: &dyn Fn(&Told) -> bool| rows.iter().filter(|r| of(r)).fold(0.0, |sum, r| sum + r.weight);
    let (all, some) = (sum(&|_| true), sum(&|r| rule(r)));
    let wrong = sum(&|r| rule(r) && r.misses);
    (some / all, if some > 0.0 { wrong / some } else { 0.0 })
}

/// Cost per 100 sites of leaving alone those a rule picks: one for a backup not needed, so many for a line wrongly left.
pub(crate) fn cost(rows: &[Told], caution: f64, alone: impl Fn(&Told) -> bool) -> f64 {
    let all: f64 = rows.iter().map(|r| r.weight).sum();
    let one = |r: &Told| match (alone(r), r.misses) {
        (true, true) => caution,
        (false, false) => 1.0,
        _ => 0.0,
    };
    100.0 * rows.iter().map(|r| r.weight * one(r)).sum::<f64>() / all
}

/// Mean odds told, the share that misses, and the share of all sites, of each of ten bins of odds that holds any.
pub(crate) fn of_bins(rows: &[Told]) -> Vec<(f64, f64, f64)> {
    let all: f64 = rows.iter().map(|r| r.weight).sum();
    let bin = |n: usize| {
        let held: Vec<&Told> = rows.iter().filter(|r| ((r.odds[0] * 10.0) as usize).min(9) == n).collect();
        let sum = |of: fn(&Told) -> f64| held.iter().map(|r| r.weight * of(r)).sum::<f64>();
        let weight = sum(|_| 1.0);
        let mean = |of| sum(of) / weight;
        (weight > 0.0).then(|| (mean(|r| r.odds[0]), mean(|r| f64::from(u8::from(r.misses))), weight / all))
    };
    (0..10).filter_map(bin).collect()
}

/// How far the odds are from the truth in the worst of ten bins that holds a twentieth of the sites or more.
pub(crate) fn worst_bin(rows: &[Told]) -> f64 {
    let bins = of_bins(rows).into_iter().filter(|b| b.2 >= 0.05);
    bins.map(|(odds, share, _)| (odds - share).abs()).fold(0.0, f64::max)
}
