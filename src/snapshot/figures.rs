//! The figures beside the verdict: delivery, supervision, outlook, flaps, and what was believed before watching.
//! Views and words; no judgement of its own.

use super::{Believed, DeliveryView, FlapView, HoursView, OutlookView, PriorView, SupervisionView};
use super::{odds, too_little, words};
use crate::judge::belief::lines::lines;
use crate::judge::delivering::{self, Delivery};
use crate::judge::outlook::{self, Hours, Outlook};
use crate::judge::supervision::{self, COMMON};
use crate::judge::{Access, Edge, Judge, Judgement, Lane, Micros, Moment, flaps};
use crate::words::lanes;

/// A delivery figure over the time `watched`, in one sentence.
pub(super) fn delivery_words(d: &Delivery, watched: Micros) -> String {
    let over = words::days(watched);
    let [least, most] = [d.best.miss, d.worst.miss].map(|x| per_thousand(x * 1000.0));
    let through = match (least == most, d.worst.miss == 0.0) {
        (_, true) => format!("all would have got through within {}", d.within),
        (true, _) => format!("{least} would not have got through within {}", d.within),
        (false, _) => format!(
            "between {least} and {most} would not have got through within {}, by what the edges of outages and unseen time leave open",
            d.within
        ),
    };
    let wait = match (d.worst.mean, d.worst.q95, d.worst.longest) {
        // Waits of nothing need no words.
        (Some(mean), Some(q95), Some(longest)) if longest > 0.0 => format!(
            "; those that did waited {} on average for a free path, 95 of 100 {}, none more than {}",
            length(mean),
            if q95 > 0.0 { format!("no more than {}", length(q95)) } else { "not at all".to_owned() },
            length(longest)
        ),
        _ => String::new(),
    };
    format!("of 1000 alarms raised at random moments in the {over} watched, {through}{wait}")
}

fn per_thousand(x: f64) -> String {
    if x == 0.0 {
        "none".into()
    } else if x < 0.1 {
        "fewer than 0.1".into()
    } else if x >= 10.0 {
        format!("{x:.0}")
    } else {
        format!("{x:.1}")
    }
}

fn length(seconds: f64) -> String {
    Micros((seconds * 1e6) as i64).to_string()
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
        sentence: words::capital(&format!("{}.", delivery_words(&d, j.look.observed))),
        by_time: by_time(j),
    })
}

/// The share not delivered within a second, within each try's moment and within the time asked for: in between nothing
/// changes.
fn by_time(j: &Judgement) -> Vec<[f64; 3]> {
    let signalling = &j.as_it_is.signalling;
    let mut times = vec![Micros::from_secs(1), signalling.within];
    times.extend(signalling.retries.iter().copied().filter(|r| *r > Micros::from_secs(1)));
    times.sort();
    times.dedup();
    let of = |t: &Micros| {
        let d = delivering::delivery(&j.as_it_is, *t)?;
        Some([d.within.secs(), d.best.miss, d.worst.miss])
    };
    times.iter().filter_map(of).collect()
}

/// Every outage against the site's interval and the common ones.
pub(super) fn supervision(j: &Judgement) -> Vec<SupervisionView> {
    let e = &j.as_it_is;
    let own = e.supervision.map(|i| (i, None, "this site's interval, from the site file", "site file"));
    let common = COMMON.iter().map(|c| (c.interval, c.check_in, c.used, c.tag));
    own.into_iter()
        .chain(common)
        .map(|(interval, check_in, used, tag)| {
            let t = supervision::tally(&e.outages, interval, e.now());
            SupervisionView {
                interval_s: interval.secs(),
                check_in_s: check_in.map(Micros::secs),
                used: used.into(),
                tag: tag.into(),
                known: t.known,
                shorter: t.shorter,
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
    let o = outlook::outlook(&j.as_it_is, &for_want_of_power(j), &known.prior, &known.assumed)?;
    Some(OutlookView {
        network: hours(o.network),
        ip_alone: hours(o.ip_alone),
        with_cellular: hours(o.with_cellular),
        sentence: outlook_words(&o, tells_a_year(&o, j.look.observed)),
        inputs: inputs(&o, judge),
    })
}

/// When the path was seen down and the power lane says why.
fn for_want_of_power(j: &Judgement) -> Vec<(Moment, Moment)> {
    let power = j.look.troubles.iter().filter(|t| t.root.lane == Lane::Power);
    power
        .filter_map(|t| t.path_down)
        .map(|(from, to)| (from.midpoint(), to.map_or(j.look.now, Edge::midpoint)))
        .collect()
}

fn hours(h: Hours) -> HoursView {
    HoursView { low: h.low, middle: h.middle, high: h.high }
}

/// Whether the watch was long enough to speak of a year: under three days, bounds of months mean that nothing is known.
fn tells_a_year(o: &Outlook, watched: Micros) -> bool {
    watched.secs() >= 3.0 * 86_400.0 || o.ip_alone.high < 2_000.0
}

fn outlook_words(o: &Outlook, tells: bool) -> String {
    let span = |h: Hours| {
        format!("about {} a year (between {} and {})", hours_words(h.middle), hours_words(h.low), hours_words(h.high))
    };
    if !tells {
        return format!(
            "So short a watch cannot tell: without a signal path, IP alone could mean anything between {} and {} a year. Days of watching bring that down.",
            hours_words(o.ip_alone.low),
            hours_words(o.ip_alone.high)
        );
    }
    let mains = if o.mains.is_some() {
        "Power cuts are in it as entered."
    } else {
        "Power cuts are not in it: nobody entered them."
    };
    format!(
        "Without a signal path, going by what was watched and by lines of its kind: IP alone {}; with a cellular second path {}. The odds are about 9 in 10 that the truth lies between the two numbers. {mains}",
        span(o.ip_alone),
        span(o.with_cellular)
    )
}

/// Hours, or minutes where there are few.
pub(super) fn hours_words(h: f64) -> String {
    if h < 1.0 {
        format!("{:.0} minutes", (h * 60.0).max(1.0))
    } else if figure(h) == "1.0" {
        "1 hour".to_owned()
    } else {
        format!("{} hours", figure(h))
    }
}

fn figure(x: f64) -> String {
    if x >= 10.0 {
        format!("{x:.0}")
    } else if x >= 0.1 {
        format!("{x:.1}")
    } else {
        format!("{x:.2}")
    }
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
            Some(h) => {
                let worked_out =
                    ("published interruption indices and what the site file says of its backups", "worked out");
                let from = if given.mains_bounds.is_some() { worked_out } else { by(true) };
                believed(format!("network gear without power {} hours a year", figure(h)), from)
            }
            None => believed("power cuts: not included, nobody entered them".into(), ("not known", "not known")),
        },
    ]
}

/// What was believed before watching, and how far it moved the answer.
pub(super) fn prior(j: &Judgement, judge: &Judge) -> PriorView {
    let prior = judge.settings().known.prior;
    let up = "the line does what is required in the long run";
    let too_little = too_little(j.look.observed.secs());
    let seen = words::days(j.look.observed);
    let kind = prior.access.map_or("lines of all kinds", Access::words);
    let sentence = match (j.holds_alone, j.decided.odds) {
        (None, None) => "No rate or share of time was asked for, so there was nothing to move.".to_owned(),
        (Some(_), None) if j.decided.beyond => {
            "No kind of line known of does what was seen here: it rests on what was watched alone.".to_owned()
        }
        (Some(_), None) => "Nothing was watched that counts, so nothing was weighed.".to_owned(),
        (None, Some(o)) => {
            format!("Going by {kind} and by the {seen} watched, the odds are {} that {up}.", odds(1.0 - o.misses))
        }
        (Some(_), Some(o)) if too_little => format!(
            "Going by {kind} and by the {seen} watched, the odds are {} that {up}; {seen} of watching alone supports none.",
            odds(1.0 - o.misses)
        ),
        (Some(alone), Some(o)) => format!(
            "Going by {kind} and by the {seen} watched, the odds are {} that {up}. On what was watched alone, the odds are {} that the line is up as much as required.",
            odds(1.0 - o.misses),
            odds(alone)
        ),
    };
    PriorView {
        lines: lines(prior)
            .into_iter()
            .map(|l| Believed { what: l.what, source: l.source.into(), tag: l.tag.into() })
            .collect(),
        alone: j.holds_alone,
        with: j.decided.odds.map(|o| 1.0 - o.misses),
        verdict_alone: j.kind_alone,
        verdict_with: j.kind,
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
    format!("{} {}.", words::capital(lanes::row(f.lane).text), went(f))
}

fn went(f: &flaps::Flaps) -> String {
    let times = if f.count == 1 { "once".to_owned() } else { format!("{} times", f.count) };
    format!("went and came back within {} {times}", flaps::FLAP_WITHIN)
}

/// What it costs to be wrong either way, for somebody who must decide today.
pub(super) fn if_wrong(o: Option<&OutlookView>, fee: Option<f64>, watched: Micros) -> Vec<String> {
    let Some(o) = o else { return Vec::new() };
    let saved = |of: fn(&HoursView) -> f64| hours_words((of(&o.ip_alone) - of(&o.with_cellular)).max(0.0));
    let fee = match fee {
        Some(fee) => format!("{:.0} a year in fees", fee * 12.0),
        None => "a year's fees (none were entered)".to_owned(),
    };
    if watched.secs() < 3.0 * 86_400.0 && o.ip_alone.high >= 2_000.0 {
        return vec![
            "Going without one, and the line is worse than it looks: hours a year without a signal path, how many can't be told from so short a watch.".into(),
            format!("Adding one, and the line is as good as it may be: {fee}, for little."),
        ];
    }
    vec![
        format!(
            "Going without one, and the line is worse than it looks: up to {} a year without a signal path that a second path would have carried (odds about 19 in 20 that it is no more).",
            saved(|h| h.high)
        ),
        format!(
            "Adding one, and the line is as good as it may be: {fee}, for {} a year less without a signal path.",
            saved(|h| h.low)
        ),
    ]
}
