//! The homeowner's last seven days: what went wrong, kind by kind, and how much of them was seen.
//!
//! Decides what repeats and is told once, and in which order.

use super::Look;
use super::speech::{job, moment, roughly, step};
use super::standing::path_lane;
use crate::judge::{Actor, Lane};
use crate::show::paper::part::sentence;
use crate::show::words::{self, percent};
use crate::snapshot::{LaneState, Snapshot, Trouble};
use maud::{Markup, html};

/// Seven days, seconds.
pub(super) const WEEK_S: f64 = 7.0 * 86_400.0;
/// Kinds of trouble told; the technician's view has the others.
const KINDS: usize = 6;

/// Troubles of one cause in the week.
struct Kind<'a> {
    last: &'a Trouble,
    longest: &'a Trouble,
    longest_s: f64,
    times: usize,
    outages: usize,
}

fn length(t: &Trouble, now_s: f64) -> f64 {
    (t.end_s.map_or(now_s, |e| e[1]) - t.start_s[1]).max(0.0)
}

fn kinds<'a>(s: &'a Snapshot, from_s: f64, now_s: f64) -> Vec<Kind<'a>> {
    let mut out: Vec<Kind<'a>> = Vec::new();
    for t in s.troubles.iter().filter(|t| t.end_s.is_none_or(|e| e[2] >= from_s)) {
        let long = length(t, now_s);
        if let Some(k) = out.iter_mut().find(|k| k.last.cause == t.cause && k.last.lane == t.lane) {
            k.last = t;
            k.times += 1;
            k.outages += usize::from(t.outage);
            if long > k.longest_s {
                (k.longest, k.longest_s) = (t, long);
            }
        } else {
            out.push(Kind { last: t, longest: t, longest_s: long, times: 1, outages: usize::from(t.outage) });
        }
    }
    // What took the way from an alarm comes first, then what came last.
    out.sort_by(|a, b| (b.outages > 0).cmp(&(a.outages > 0)).then(b.last.start_s[1].total_cmp(&a.last.start_s[1])));
    out
}

pub(super) fn week(look: &Look<'_>) -> Markup {
    let (s, now_s) = (look.snapshot, look.now_s);
    let from_s = now_s - WEEK_S;
    let kinds = kinds(s, from_s, now_s);
    let whole = from_s <= 0.0;
    if kinds.is_empty() {
        let p = if s.watch.elapsed_s <= 0.0 {
            "Nothing has been watched yet."
        } else if whole {
            "Nothing was seen to go wrong since watching began."
        } else {
            "Nothing was seen to go wrong in the last seven days."
        };
        return html! { p { (p) @if let Some(unseen) = mostly_unseen(look) { " " (unseen) } } };
    }
    html! {
        p { (summed(&kinds, whole)) @if let Some(unseen) = mostly_unseen(look) { " " (unseen) } }
        ol class="plain events" {
            @for k in kinds.iter().take(KINDS) { li { (kind(look, k)) } }
        }
        @if kinds.len() > KINDS {
            p { (words::count(kinds.len() - KINDS, "other kind of trouble", "other kinds of trouble"))
                " more: see " a href="/technician#happened" { "the technician’s view" } "." }
        }
    }
}

/// How often an alarm had no way out, and on which side of the router it began.
fn summed(kinds: &[Kind<'_>], whole: bool) -> String {
    let outages: usize = kinds.iter().map(|k| k.outages).sum();
    let when = if whole { "since watching began" } else { "in the last seven days" };
    if outages == 0 {
        return format!("An alarm always had a way out {when}, as far as was seen.");
    }
    let of = |inside: &dyn Fn(Lane) -> bool| -> usize {
        kinds.iter().filter(|k| inside(k.last.lane)).map(|k| k.outages).sum()
    };
    let home = of(&|l| matches!(l, Lane::Power | Lane::Link | Lane::Address | Lane::Router));
    let beyond = of(&|l| matches!(l, Lane::Outside | Lane::Receiver));
    let times = |n: usize| match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    };
    let whence = match (home, beyond) {
        (0, 0) => String::new(),
        (h, _) if h == outages => " It began inside the home, at the router or before it.".to_owned(),
        (_, b) if b == outages => " It began beyond the router.".to_owned(),
        (h, b) => {
            format!(" Inside the home, at the router or before it: {}; beyond the router: {}.", times(h), times(b))
        }
    };
    format!("An alarm had no way out {} {when}.{whence}", times(outages))
}

/// Where a trouble began, in a short sentence.
const fn side(lane: Lane) -> &'static str {
    match lane {
        Lane::Power => "It began with the power.",
        Lane::Link => "It began inside the home, at the network lead.",
        Lane::Address => "It began inside the home.",
        Lane::Router => "It began inside the home, at the router.",
        Lane::Names => "It began where names are looked up.",
        Lane::Outside => "It began beyond the router.",
        Lane::Receiver => "It began at the alarm station.",
    }
}

fn kind(look: &Look<'_>, k: &Kind<'_>) -> Markup {
    let (s, now_s) = (look.snapshot, look.now_s);
    let when = |t: &Trouble| moment(s, look.zone, now_s, t.start_s[1]);
    let effect = if k.last.unwatched && k.outages == 0 {
        "Nobody looked meanwhile; whether an alarm had a way out is not known."
    } else if k.outages == k.times {
        if k.times == 1 { "An alarm had no way out meanwhile." } else { "An alarm had no way out each time." }
    } else if k.outages == 0 {
        "An alarm still had a way out."
    } else {
        "An alarm had no way out in some of them."
    };
    html! {
        h3 { (sentence(&k.longest.sentence)) }
        p {
            @if k.times == 1 {
                (words::capital(&when(k.last)))
                @if k.last.end_s.is_none() { ", and not over." } @else { ", for " (roughly(k.longest_s)) "." }
            } @else {
                (k.times) " times like this; the longest took " (roughly(k.longest_s)) ", the last was " (when(k.last))
                @if k.last.end_s.is_none() { " and is not over" } "."
            }
            " " (side(k.last.lane)) " " (effect)
        }
        // What goes on is the one thing to do, above.
        @let told = k.last.outage && k.last.end_s.is_none();
        p { (job(k.last.who)) @if !told && k.last.who != Actor::Nobody && !k.last.step.is_empty() { " " (step(&k.last.step)) } }
    }
}

/// Share of the last seven days in which the lane that tells of the path was looked at, and their length.
pub(super) fn week_seen(look: &Look<'_>) -> Option<(f64, f64)> {
    let from = (look.now_s - WEEK_S).max(0.0);
    let length = look.now_s - from;
    let seen: f64 = path_lane(look.snapshot)?
        .stretches
        .iter()
        .filter(|x| x.state != LaneState::Blind)
        .map(|x| (x.to_s - x.from_s.max(from)).max(0.0))
        .sum();
    (length > 0.0 && seen.is_finite()).then(|| ((seen / length).min(1.0), length))
}

/// What a week with much unseen time leaves open.
fn mostly_unseen(look: &Look<'_>) -> Option<String> {
    let (share, length) = week_seen(look)?;
    // The first looks of a watch say nothing of how well it looks.
    (share < 0.95 && length > 600.0)
        .then(|| format!("Nobody looked for {} of that time; what happened then is not known.", percent(1.0 - share)))
}
