//! How often the verdict is wrong over a population of sites whose truth is known.

use crate::draw::Draw;
use crate::rule::{Looked, Looker, Rule};
use crate::world::{CAP, DAY, Site, Technology};
use pathproof::judge::stats::band_posterior::BandPrior;
use pathproof::judge::thresholds::LOOKS;
use pathproof::judge::{Standing, VerdictKind};
use std::fmt::Write as _;

/// Days of the looks reported one by one; the first is half an hour.
pub(crate) const HORIZONS: [f64; 7] = [1.0 / 48.0, 1.0, 3.0, 7.0, 14.0, 30.0, 90.0];

/// Days up to which daily looks are reported.
const REPORTED: [u32; 5] = [7, 30, 90, 180, 365];

/// A site and the looks at it.
pub(crate) struct Watched {
    pub(crate) site: Site,
    pub(crate) at_horizon: Vec<Looked>,
    /// At the ends of days; see [`Daily`].
    pub(crate) daily: Vec<Looked>,
}

/// Which days are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Daily {
    /// Each, though most can change nothing: to test the other against.
    Every,
    /// Those at which a decision can fall. A stretch without news only makes a site look better: it is called short at
    /// its first look if at all, or once the least watch is over, and enough at its last if at all.
    Telling,
}

/// Which truth counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Of {
    /// The availability requirement alone.
    Availability,
    /// The household set: availability and the rate of long outages (supervision has no long-run truth to miss).
    Set,
    /// The verdict on the whole set, of sites that miss or meet the availability.
    Verdict,
}

/// The truth about a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Truth {
    Misses,
    /// Meets, by less than the margin.
    Between,
    /// Meets with at most half the unavailability, and half the rate of long outages, that is allowed: the margin.
    Meets,
}

pub(crate) fn truth(of: Of, rule: &Rule, site: Site) -> Truth {
    let n = &rule.numbers;
    let down = site.unavailability() / (1.0 - n.available);
    let long = site.longer_in(n.longer_than, n.per_days) / n.at_most;
    let worst = if of == Of::Set { down.max(long) } else { down };
    match worst {
        w if w > 1.0 => Truth::Misses,
        w if w <= 0.5 => Truth::Meets,
        _ => Truth::Between,
    }
}

pub(crate) fn verdict(of: Of, rule: &Rule, l: Looked) -> VerdictKind {
    match of {
        Of::Set | Of::Verdict => rule.verdict(l),
        Of::Availability => match rule.availability(l) {
            Standing::Met => VerdictKind::IpAlone,
            Standing::NotMet => VerdictKind::AddCellular,
            Standing::Open => VerdictKind::KeepWatching,
        },
    }
}

pub(crate) fn watch(looker: &Looker, site: Site, days: u32, which: Daily, draw: &mut Draw) -> Watched {
    let most = HORIZONS[HORIZONS.len() - 1].max(f64::from(days));
    let history = site.history(most * DAY, draw);
    let look = |d: f64| looker.look(&history, d * DAY);
    let least = [LOOKS.least_watch_met, LOOKS.least_watch_not_met].map(|m| (m.secs() / DAY).ceil() as u32);
    // What happened up to the end of a day: two numbers that differ if there was news, and whether one is running.
    let news = |day: u32| {
        let end = f64::from(day) * DAY;
        let (began, over) = (|o: &&(f64, f64)| o.0 < end, |o: &&(f64, f64)| o.1 <= end);
        (history.iter().filter(began).count(), history.iter().filter(over).count())
    };
    let ends_a_period = |day: u32| REPORTED.contains(&day) || day == days;
    let telling = |day: u32| {
        let (began, over) = news(day);
        began > over
            || (began, over) != news(day.saturating_sub(1))
            || (began, over) != news(day + 1)
            || ends_a_period(day)
            || least.contains(&day)
            || day == 1
    };
    Watched {
        site,
        at_horizon: HORIZONS.iter().map(|d| look(*d)).collect(),
        daily: (1..=days).filter(|d| which == Daily::Every || telling(*d)).map(|d| look(f64::from(d))).collect(),
    }
}

pub(crate) fn population(sites: u32, days: u32, which: Daily, cap: f64, seed: u64) -> Vec<Watched> {
    let looker = Looker::new(Rule::shipped().numbers, BandPrior::PUBLISHED);
    let mut draw = Draw::new(seed);
    (0..sites)
        .map(|_| {
            let site = Site::draw(Technology::draw(&mut draw), cap, &mut draw);
            watch(&looker, site, days, which, &mut draw)
        })
        .collect()
}

/// Shares of one row: of sites of a truth, how many got each verdict.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Row {
    pub(crate) missing: u32,
    pub(crate) meeting: u32,
    pub(crate) all: u32,
    pub(crate) missing_called_enough: u32,
    pub(crate) missing_called_short: u32,
    pub(crate) meeting_called_short: u32,
    pub(crate) meeting_called_enough: u32,
    pub(crate) undecided: u32,
    /// Missing sites that "nothing seen, so fine" passes.
    pub(crate) naive: u32,
}

impl Row {
    fn add(&mut self, truth: Truth, enough: bool, short: bool, clean: bool) {
        self.all += 1;
        self.undecided += u32::from(!enough && !short);
        match truth {
            Truth::Misses => {
                self.missing += 1;
                self.missing_called_enough += u32::from(enough);
                self.missing_called_short += u32::from(short);
                self.naive += u32::from(clean);
            }
            Truth::Meets => {
                self.meeting += 1;
                self.meeting_called_short += u32::from(short);
                self.meeting_called_enough += u32::from(enough);
            }
            Truth::Between => {}
        }
    }

    pub(crate) fn wrongly_enough(self) -> f64 {
        share(self.missing_called_enough, self.missing)
    }

    pub(crate) fn wrongly_short(self) -> f64 {
        share(self.meeting_called_short, self.meeting)
    }
}

fn share(part: u32, of: u32) -> f64 {
    f64::from(part) / f64::from(of.max(1))
}

/// The row of one horizon.
pub(crate) fn at_horizon(of: Of, rule: &Rule, sites: &[Watched], index: usize) -> Row {
    let mut row = Row::default();
    for w in sites {
        let l = w.at_horizon[index];
        let v = verdict(of, rule, l);
        row.add(truth(of, rule, w.site), v == VerdictKind::IpAlone, v == VerdictKind::AddCellular, l.outages == 0);
    }
    row
}

/// The row of looking every day: the first decision stands, as it would be acted upon.
pub(crate) fn daily(of: Of, rule: &Rule, sites: &[Watched], days: u32) -> Row {
    let until = f64::from(days) * DAY;
    let mut row = Row::default();
    for w in sites {
        let first = w
            .daily
            .iter()
            .take_while(|l| l.watched <= until)
            .map(|l| verdict(of, rule, *l))
            .find(|v| *v != VerdictKind::KeepWatching);
        // The naive rule under daily looks decides on the first day.
        let clean = w.daily.first().is_some_and(|l| l.outages == 0);
        row.add(
            truth(of, rule, w.site),
            first == Some(VerdictKind::IpAlone),
            first == Some(VerdictKind::AddCellular),
            clean,
        );
    }
    row
}

fn words(days: f64) -> String {
    if days < 1.0 { format!("{:.0} min", days * 1_440.0) } else { format!("{days:.0} d") }
}

/// The table for src/judge/README.md.
pub(crate) fn table(of: Of, rule: &Rule, sites: &[Watched]) -> String {
    let mut out = String::from(
        "| watched | of sites that miss it: called ip-alone | called add-cellular | of sites that meet it with margin: called add-cellular | called ip-alone | of all: keep-watching | \"nothing seen, so fine\" passes, of sites that miss it |\n|---|---|---|---|---|---|---|\n",
    );
    let mut line = |name: &str, r: Row| {
        let p = |part, of| 100.0 * share(part, of);
        let _ = writeln!(
            out,
            "| {name} | {:.2} % | {:.1} % | {:.2} % | {:.1} % | {:.1} % | {:.1} % |",
            p(r.missing_called_enough, r.missing),
            p(r.missing_called_short, r.missing),
            p(r.meeting_called_short, r.meeting),
            p(r.meeting_called_enough, r.meeting),
            p(r.undecided, r.all),
            p(r.naive, r.missing),
        );
    };
    for (i, d) in HORIZONS.iter().enumerate() {
        line(&words(*d), at_horizon(of, rule, sites, i));
    }
    let most = sites.first().and_then(|w| w.daily.last()).map_or(0.0, |l| l.watched);
    for days in REPORTED {
        if f64::from(days) * DAY <= most {
            line(&format!("daily looks to {days} d, first decision"), daily(of, rule, sites, days));
        }
    }
    out
}

/// The worst case: sites exactly at the limit (just missing) or exactly at the margin.
pub(crate) struct Edges {
    pub(crate) technology: Technology,
    pub(crate) missing: Vec<Watched>,
    pub(crate) meeting: Vec<Watched>,
}

pub(crate) fn edges(of: Of, rule: &Rule, sites: u32, days: u32, seed: u64) -> Vec<Edges> {
    let looker = Looker::new(rule.numbers, BandPrior::PUBLISHED);
    let n = rule.numbers;
    let ratio = move |s: Site| {
        let down = s.unavailability() / (1.0 - n.available);
        if of == Of::Set { down.max(s.longer_in(n.longer_than, n.per_days) / n.at_most) } else { down }
    };
    let group = |technology, want: f64| -> Vec<Watched> {
        let mut draw = Draw::new(seed);
        (0..sites)
            .map(|_| {
                let site = Site::draw(technology, CAP, &mut draw).tuned(want, ratio);
                watch(&looker, site, days, Daily::Telling, &mut draw)
            })
            .collect()
    };
    let one = |t| Edges { technology: t, missing: group(t, 1.000_001), meeting: group(t, 0.499_999) };
    Technology::ALL.map(one).into_iter().collect()
}

pub(crate) fn edge_table(of: Of, rule: &Rule, edges: &[Edges], days: u32) -> String {
    let mut out = String::from(
        "| technology | just missing: called ip-alone at 30 d / 90 d / daily looks | at the margin: called add-cellular at 7 d / 30 d / 90 d / daily looks |\n|---|---|---|\n",
    );
    for e in edges {
        let enough = |r: Row| 100.0 * r.wrongly_enough();
        let short = |r: Row| 100.0 * r.wrongly_short();
        let _ = writeln!(
            out,
            "| {} | {:.1} / {:.1} / {:.1} % | {:.1} / {:.1} / {:.1} / {:.1} % |",
            e.technology.word(),
            enough(at_horizon(of, rule, &e.missing, 5)),
            enough(at_horizon(of, rule, &e.missing, 6)),
            enough(daily(of, rule, &e.missing, days)),
            short(at_horizon(of, rule, &e.meeting, 3)),
            short(at_horizon(of, rule, &e.meeting, 5)),
            short(at_horizon(of, rule, &e.meeting, 6)),
            short(daily(of, rule, &e.meeting, days)),
        );
    }
    out
}
