//! The questions behind the verdict, answered in plain words: would an alarm get through, would the station notice, what
//! may a year bring, what was believed beforehand, how sharp was the watch.
//!
//! Every share is told as "about 19 in 20", of what, and over how long.

use super::{Blocks, sentence};
use crate::show::words::{self, safe};
use crate::snapshot::{
    Believed, DetectionView, LengthsView, Snapshot, SupervisionView, TargetView, VerdictKind, odds, too_little,
};
use jiff::tz::TimeZone;

/// A length without the tenths of whole seconds: nothing here is an edge.
fn span(seconds: f64) -> String {
    words::span(seconds).replace(".0 s", " s")
}

/// Every answer there is something to say to, in the order a reader asks.
pub fn answers(b: &mut Blocks, s: &Snapshot) {
    for part in [drills, delivery, supervision, outlook, prior, sharpness] {
        part(b, s);
    }
}

/// The odds for somebody who must decide today; `None` where there are none.
pub fn odds_today(s: &Snapshot) -> Option<String> {
    let once = if s.verdict().kind == VerdictKind::MendFirst { "once that is mended, " } else { "" };
    if let Some(misses) = s.verdict().misses {
        return Some(words::capital(&format!(
            "{once}going by the {} seen and by lines of its kind, the odds are {} that the line does what is required in the long run.",
            span(s.watch.observed_s),
            odds(1.0 - misses)
        )));
    }
    let p = s.ruling.as_ref()?.prior.as_ref()?;
    let alone = p.alone?;
    let with = p.with.filter(|w| (w - alone).abs() > 0.005);
    let seen = span(s.watch.observed_s);
    let up = "the line is up as much as required in the long run";
    Some(words::capital(&match (too_little(s.watch.observed_s), with) {
        (true, None) => format!(
            "{once}no odds can be given: nothing is believed of this line, and {seen} of watching alone supports none."
        ),
        (true, Some(w)) => format!(
            "{once}going by what is believed of such a line and the {seen} seen, the odds are {} that {up}; what was seen alone supports none yet.",
            odds(w)
        ),
        (false, None) => format!("{once}going by the {seen} seen, the odds are {} that {up}.", odds(alone)),
        (false, Some(w)) => format!(
            "{once}going by the {seen} seen, the odds are {} that {up}; with what is believed of such a line, {}.",
            odds(alone),
            odds(w)
        ),
    }))
}

/// What was done on purpose.
pub fn drills(b: &mut Blocks, s: &Snapshot) {
    let drills = s.ruling.as_ref().map_or(&[][..], |r| &r.drills);
    let Some(first) = drills.first() else { return };
    let mut list = Vec::new();
    for d in drills {
        let day = words::zoned(d.began, &TimeZone::UTC).strftime("%Y-%m-%d %H:%M UTC");
        let title = format!("{} of {day}", words::capital(&safe(&d.drill)));
        let short = d.cut_short.iter().map(|why| format!("Cut short: {}.", safe(why)));
        let told: Vec<String> = short.chain(d.says.iter().map(|says| sentence(says))).collect();
        let told = if told.is_empty() { "Nothing was measured.".to_owned() } else { told.join(" ") };
        list.push(format!("{title}: {told}"));
    }
    let one = drills.len() == 1 && first.to_s > first.from_s;
    let what = if one { "It was" } else { "They were" };
    let says = format!(
        "{what} somebody's doing on purpose: nothing in that time counts for or against the path. The figures of each target count every question, these too."
    );
    b.part("drills", "Drills").say(says).list(list);
}

/// Would an alarm have got through?
pub fn delivery(b: &mut Blocks, s: &Snapshot) {
    let Some(d) = s.ruling.as_ref().and_then(|r| r.delivery.as_ref()) else { return };
    let tries: Vec<String> =
        d.retries_s.iter().map(|r| if *r <= 0.0 { "at once".to_owned() } else { span(*r) }).collect();
    let schedule = format!(
        "The communicator is taken to try {} after the alarm (from: {}).",
        join(&tries, "and"),
        safe(&d.schedule)
    );
    b.part("delivery", "Would an alarm get through?").say(format!("{} {schedule}", sentence(&d.sentence)));
}

/// Would the station have known?
pub fn supervision(b: &mut Blocks, s: &Snapshot) {
    let Some(first) = s.supervision.first() else { return };
    b.part("supervision", "Would the station notice an outage?");
    let all = first.outages.len();
    if all == 0 {
        b.say(format!(
            "No outage was seen, so there was none to notice. A station waits before silence tells it anything: with {} ({}), an outage shorter than that may pass unnoticed.",
            span(first.interval_s),
            safe(&first.used)
        ));
        return;
    }
    b.say(format!(
        "A station notices an outage that lasts longer than the silence it allows. A shorter one it may or may not notice, as the silence counts from the last check-in. Of the {} in the {} watched, by how long it waits:",
        words::count(all, "outage", "outages"),
        span(s.watch.elapsed_s)
    ));
    // The site's own stands first; the common ones follow by length.
    let mut order: Vec<&SupervisionView> = s.supervision.iter().collect();
    order.get_mut(1..).unwrap_or_default().sort_by(|a, b| a.interval_s.total_cmp(&b.interval_s));
    b.list(order.into_iter().map(|v| interval(v, all)));
}

fn interval(v: &SupervisionView, all: usize) -> String {
    let noticed = match v.known {
        0 => "none surely noticed".to_owned(),
        n if n == all => "all noticed".to_owned(),
        n => format!("{n} surely noticed"),
    };
    let open = if v.open > 0 { format!(", {} not to be told", v.open) } else { String::new() };
    format!(
        "{}, {}: {noticed}{open}; at the longest it can have been unaware for {}. {}",
        span(v.interval_s),
        safe(&v.used),
        span(v.longest_unaware_s),
        standing_of(&v.tag)
    )
}

/// How well a number was checked, in words.
fn standing_of(tag: &str) -> String {
    match tag {
        "V" => "(Read in its source.)".to_owned(),
        "S" => "(Known at second hand.)".to_owned(),
        "D" => "(Worked out from published figures.)".to_owned(),
        "M" => "(From memory, not checked.)".to_owned(),
        "choice" => "(This program's choice.)".to_owned(),
        "site file" => "(Entered in the site file.)".to_owned(),
        "not known" => "(Not known.)".to_owned(),
        other => format!("({}.)", safe(other)),
    }
}

fn believed(b: &Believed) -> String {
    match b.tag.as_str() {
        "V" | "S" | "D" | "M" => {
            format!("{} Source: {} {}", sentence(&words::capital(&b.what)), sentence(&b.source), standing_of(&b.tag))
        }
        _ => format!("{} {}", sentence(&words::capital(&b.what)), standing_of(&b.tag)),
    }
}

/// What a year may bring.
pub fn outlook(b: &mut Blocks, s: &Snapshot) {
    let Some(o) = s.ruling.as_ref().and_then(|r| r.outlook.as_ref()) else { return };
    b.part("outlook", "What may a year bring?").say(sentence(&o.sentence));
    if !o.inputs.is_empty() {
        b.say("Taken as given, not measured:").list(o.inputs.iter().map(believed));
    }
}

/// What was believed before watching.
pub fn prior(b: &mut Blocks, s: &Snapshot) {
    let Some(p) = s.ruling.as_ref().and_then(|r| r.prior.as_ref()) else { return };
    b.part("prior", "What was believed beforehand?").say(sentence(&p.sentence));
    if p.verdict_with != p.verdict_alone {
        b.say(format!(
            "The verdict without what was believed: {}. With it: {}.",
            p.verdict_alone.words(),
            p.verdict_with.words()
        ));
    }
    if !p.lines.is_empty() {
        b.say("Number by number:").list(p.lines.iter().map(believed));
    }
}

/// How sharp the watch was.
pub fn sharpness(b: &mut Blocks, s: &Snapshot) {
    let mut says = Vec::new();
    if let Some(r) = &s.ruling {
        says.extend(r.detection.as_ref().map(noticed));
        says.extend(r.lengths.as_ref().map(|l| lasted(l, s.watch.elapsed_s)));
    }
    says.extend(s.flaps.iter().map(|f| {
        let now = if f.flapping { " It counts as flapping now." } else { "" };
        format!("{}{now}", sentence(&f.sentence))
    }));
    if !says.is_empty() {
        b.part("sharpness", "How sharp was the watch?");
        for line in &says {
            b.say(line);
        }
    }
}

/// Which short outages the way of asking could see.
fn noticed(d: &DetectionView) -> String {
    let who = if d.targets == 1 { "One far end was".to_owned() } else { format!("{} far ends were", d.targets) };
    let row = |[length, share]: &[f64; 2]| {
        let seen = match *share {
            p if p <= 0.0 => "none".to_owned(),
            p if p >= 1.0 => "all".to_owned(),
            p => odds(p),
        };
        format!("{seen} of those of {}", span(*length))
    };
    // What is none up to some length, or all from some length on, is told once.
    let from = d.noticed.iter().rposition(|[_, p]| *p <= 0.0).unwrap_or(0);
    let to = d.noticed.iter().position(|[_, p]| *p >= 1.0).map_or(d.noticed.len(), |i| i + 1);
    let rows: Vec<String> = d.noticed.get(from..to.max(from)).unwrap_or_default().iter().map(row).collect();
    format!(
        "{who} asked each {}, and {} unanswered in a row make an outage. Of short outages it would have noticed {}, whatever moment they began at.",
        span(d.every_s),
        words::count(d.run as usize, "question", "questions"),
        if rows.is_empty() { "an unknown share".to_owned() } else { join(&rows, "and") }
    )
}

/// How long outages lasted.
fn lasted(l: &LengthsView, watched_s: f64) -> String {
    let watched = span(watched_s);
    let Some(median) = l.median_s else {
        return format!("Too few of the outages in the {watched} watched had ended to say how long they last.");
    };
    let bounds = match l.bounds_s {
        [Some(low), Some(high)] if high > low => {
            format!("; in the long run half are over within {} to {}", span(low), span(high))
        }
        [Some(low), None] => format!(
            "; in the long run half may last longer than that: nothing seen bounds it, only that it is over {}",
            span(low)
        ),
        _ => "; with so few, nothing more can be said of the long run".to_owned(),
    };
    let sure = if matches!(l.bounds_s, [Some(a), Some(b)] if b > a) { " (odds about 19 in 20)" } else { "" };
    let hour = l
        .over_an_hour
        .map_or(String::new(), |p| format!(" Going by how the lengths are spread, {} last over an hour.", odds(p)));
    format!(
        "Half of the {} in the {watched} watched were over within {}{bounds}{sure}.{hour}",
        words::count(l.seen, "outage", "outages"),
        span(median)
    )
}

/// What a target lost and how its times vary, in a sentence; `None` where nothing was lost and nothing timed.
pub(super) fn steadiness(t: &TargetView, watched_s: f64) -> Option<String> {
    let mut parts = Vec::new();
    if let Some(l) = t.loss.filter(|l| l.share > 0.0) {
        let bursts = match (l.bursts, l.density[0]) {
            (0, _) | (_, None) => String::new(),
            (n, Some(inside)) => format!(
                ", with {} in which {} of them went unanswered",
                words::count(usize::try_from(n).unwrap_or(usize::MAX), "burst", "bursts"),
                if inside >= 0.995 { "all".to_owned() } else { odds(inside) }
            ),
        };
        parts.push(format!(
            "Unanswered: {} of the time over {}{bursts}; in the long run between {} and {}.",
            odds(l.share),
            span(watched_s),
            per_thousand(l.bounds[0]),
            per_thousand(l.bounds[1])
        ));
    }
    if let Some(ms) = t.jitter_ms.filter(|ms| ms.is_finite()) {
        parts.push(format!("From one answer to the next the time changes by about {}.", words::millis(ms)));
    }
    (!parts.is_empty()).then(|| parts.join(" "))
}

fn per_thousand(share: f64) -> String {
    match share * 1_000.0 {
        n if !n.is_finite() => "an unknown number".to_owned(),
        n if n < 0.1 => "fewer than 0.1 of 1000".to_owned(),
        n if n < 10.0 => format!("{n:.1} of 1000"),
        n => format!("{n:.0} of 1000"),
    }
}

/// `a, b and c`.
fn join(items: &[String], last: &str) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., end] => format!("{} {last} {end}", first.join(", ")),
    }
}
