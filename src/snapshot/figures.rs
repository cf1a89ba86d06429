//! The figures beside the verdict: delivery, supervision, outlook, flaps, and what was believed before watching.
//! Views and words; no judgement of its own.

use super::words;
use super::{Believed, DeliveryView, FlapView, HoursView, OutlookView, PriorView, SupervisionView};
use crate::judge::delivering::{self, Delivery};
use crate::judge::outlook::{self, Hours, Outlook};
use crate::judge::supervision::{self, COMMON};
use crate::judge::{Judge, Judgement, Lane, Micros, flaps};

/// A delivery figure in one sentence.
pub(super) fn delivery_words(d: &Delivery) -> String {
    let [least, most] = [d.best.miss, d.worst.miss].map(|x| per_thousand(x * 1000.0));
    let missed = if least == most { least } else { format!("{least} to {most}") };
    let wait = match (d.worst.mean, d.worst.q95, d.worst.longest) {
        (Some(mean), Some(q95), Some(longest)) => format!(
            "; those that did waited {} on average, 95 of 100 no more than {}, none more than {}",
            Micros((mean * 1e6) as i64),
            Micros((q95 * 1e6) as i64),
            Micros((longest * 1e6) as i64)
        ),
        _ => String::new(),
    };
    format!("of 1000 alarms raised at random moments, {missed} would not have got through within {}{wait}", d.within)
}

fn per_thousand(x: f64) -> String {
    if x == 0.0 {
        "none".into()
    } else if x < 0.1 {
        "fewer than 0.1".into()
    } else {
        format!("{x:.1}")
    }
}

/// The delivery figure over every outage seen.
pub(super) fn delivery(j: &Judgement) -> Option<DeliveryView> {
    let within = j.as_it_is.signalling.within;
    let d = delivering::delivery(&j.as_it_is, within)?;
    Some(DeliveryView {
        within_s: within.secs(),
        retries_s: j.as_it_is.signalling.offsets(within),
        schedule: if j.as_it_is.signalling.named { "site file" } else { "a choice of this program" }.into(),
        missed: [d.best.miss, d.worst.miss],
        mean_s: d.worst.mean,
        q95_s: d.worst.q95,
        longest_s: d.worst.longest,
        sentence: words::capital(&format!("{}.", delivery_words(&d))),
    })
}

/// Every outage against the site's interval and the common ones.
pub(super) fn supervision(j: &Judgement) -> Vec<SupervisionView> {
    let e = &j.as_it_is;
    let own = e.supervision.map(|i| (i, "this site's interval, from the site file", "site file"));
    let common = COMMON.iter().map(|c| (c.interval, c.used, c.tag));
    own.into_iter()
        .chain(common)
        .map(|(interval, used, tag)| {
            let t = supervision::tally(&e.outages, interval, e.now());
            SupervisionView {
                interval_s: interval.secs(),
                used: used.into(),
                tag: tag.into(),
                known: t.known,
                unseen: t.unseen,
                open: t.open,
                longest_unaware_s: t.longest_unaware.secs(),
                outages: e.outages.iter().map(|o| supervision::known(o, interval, e.now())).collect(),
            }
        })
        .collect()
}

/// The outlook for a year.
pub(super) fn outlook(j: &Judgement, judge: &Judge) -> Option<OutlookView> {
    let known = &judge.settings().known;
    let o = outlook::outlook(&j.as_it_is, known.prior.belief(), &known.assumed)?;
    Some(OutlookView {
        network: hours(o.network),
        ip_alone: hours(o.ip_alone),
        with_cellular: hours(o.with_cellular),
        sentence: outlook_words(&o),
        inputs: inputs(&o, judge),
    })
}

fn hours(h: Hours) -> HoursView {
    HoursView { low: h.low, middle: h.middle, high: h.high }
}

fn outlook_words(o: &Outlook) -> String {
    let span = |h: Hours| format!("about {} hours a year ({} to {})", figure(h.middle), figure(h.low), figure(h.high));
    let mains = if o.mains.is_some() { "mains included" } else { "power cuts not included" };
    format!(
        "To expect without a signal path: IP alone {}; with a cellular second path {}; {mains}. In 9 of 10 cases like this one the truth lies between the numbers in brackets, if the year is like what was watched.",
        span(o.ip_alone),
        span(o.with_cellular)
    )
}

fn figure(x: f64) -> String {
    if x >= 10.0 { format!("{x:.0}") } else { format!("{x:.1}") }
}

fn inputs(o: &Outlook, judge: &Judge) -> Vec<Believed> {
    let given = judge.settings().known.assumed;
    let by =
        |entered: bool| if entered { ("the site file", "site file") } else { ("a choice of this program", "choice") };
    let believed =
        |what: String, (source, tag): (&str, &str)| Believed { what, source: source.into(), tag: tag.into() };
    vec![
        believed(
            format!("cellular path down {:.0} hours a year", o.cellular * 8_760.0),
            by(given.cellular_hours.is_some()),
        ),
        believed(
            format!("{:.0} in 100 of the better path's failures take both paths", o.shared * 100.0),
            by(given.shared.is_some()),
        ),
        match o.mains {
            Some(h) => believed(format!("network gear without power {h:.0} hours a year"), by(true)),
            None => believed("power cuts: not included, nobody entered them".into(), ("not known", "not known")),
        },
    ]
}

/// What was believed before watching, and how far it moved the answer.
pub(super) fn prior(j: &Judgement, judge: &Judge) -> PriorView {
    let prior = judge.settings().known.prior;
    let sentence = match j.odds {
        None => "No availability was asked for, so there was nothing to move.".to_owned(),
        Some((alone, _)) if !prior.says_something() => format!(
            "Nothing was believed of this line. On what was watched alone, {} in 100 that it is up as much as required.",
            words::hundred(alone)
        ),
        Some((alone, with)) => format!(
            "On what was watched alone, {} in 100 that the line is up as much as required; with what is believed of it, {} in 100. {}",
            words::hundred(alone),
            words::hundred(with),
            if j.kind_with_prior == j.kind {
                "The verdict is the same either way."
            } else {
                "What is believed can't decide alone: the verdict rests on what was watched."
            }
        ),
    };
    PriorView {
        lines: prior
            .lines()
            .into_iter()
            .map(|l| Believed { what: l.what, source: l.source.into(), tag: l.tag.into() })
            .collect(),
        alone: j.odds.map(|o| o.0),
        with: j.odds.map(|o| o.1),
        verdict_with: j.kind_with_prior,
        sentence,
    }
}

/// Flaps by lane.
pub(super) fn flap_views(j: &Judgement) -> Vec<FlapView> {
    flaps::flaps(&j.look.lanes, &j.look.planned, j.look.now)
        .into_iter()
        .map(|f| FlapView {
            lane: f.lane,
            count: f.count,
            per_day: [f.per_day.1.lower, f.per_day.0, f.per_day.1.upper],
            penalty: f.penalty,
            peak: f.peak,
            flapping: f.flapping,
            sentence: flap_words(&f),
        })
        .collect()
}

fn flap_words(f: &flaps::Flaps) -> String {
    let who = match f.lane {
        Lane::Link => "The network lead",
        lane => return format!("{} {}.", words::capital(words::lane_words(lane)), went(f)),
    };
    format!("{who} {}.", went(f))
}

fn went(f: &flaps::Flaps) -> String {
    let times = if f.count == 1 { "once".to_owned() } else { format!("{} times", f.count) };
    format!("went and came back within {} {times}", flaps::FLAP_WITHIN)
}

/// What it costs to be wrong either way, for somebody who must decide today.
pub(super) fn if_wrong(o: Option<&OutlookView>, fee: Option<f64>) -> Vec<String> {
    let Some(o) = o else { return Vec::new() };
    let saved = (o.ip_alone.high - o.with_cellular.high).max(0.0);
    let mut out = vec![format!(
        "Without a cellular path and wrong: up to {} hours a year without a signal path that it would have carried.",
        figure(saved)
    )];
    out.push(match fee {
        Some(fee) => format!("With one and wrong: {:.0} a year paid for little.", fee * 12.0),
        None => "With one and wrong: its fee paid for little (no fee was entered).".into(),
    });
    out
}
