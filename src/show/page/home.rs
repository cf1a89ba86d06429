//! The homeowner's page: one plain line, one thing to do, where a signal stops, what happened this week and whose job it
//! is, whether the line is enough, how much was seen, what this box sends, how to be rid of what it kept.
//!
//! Decides order, wording and what is left out. A quiet week stays a short page; what repeats is told once, with how
//! often.

use super::Look;
use super::speech::{job, moment, roughly, so_far, step};
use super::standing::{Now, PlainLine, plain_line};
use super::week::{WEEK_S, week, week_seen};
use crate::judge::Lane;
use crate::show::escape::shell_word;
use crate::show::paper::part::{decides_today, odds_today, rests_on, sentence};
use crate::show::words::{self, percent, safe};
use crate::snapshot::{LaneState, LaneView, Snapshot, VerdictKind};
use crate::words::lanes;
use maud::{Markup, html};

/// A watch shorter than this has only just begun, seconds.
const BEGUN_S: f64 = 60.0;
/// Far ends of one kind named.
const NAMED: usize = 6;
/// Things to mend told after the first.
const MORE_TO_MEND: usize = 4;

/// Everything inside `<main>`.
pub(super) fn main(look: &Look<'_>) -> Markup {
    let line = plain_line(look);
    html! {
        (now(look, &line))
        (section("do", "One thing to do", &to_do(look, &line)))
        (section("way", "The way a signal takes", &way(look, &line)))
        (section("week", "This week", &week(look)))
        (section("enough", "Is the internet alone enough?", &enough(look.snapshot)))
        (section("seen", "How much was seen", &seen(look)))
        (section("sends", "What this box sends", &sends(look)))
        (section("keeps", "What it keeps", &keeps(look)))
        (section("cautions", "What this is, and is not", &list(&look.snapshot.cautions)))
    }
}

fn section(id: &str, title: &str, body: &Markup) -> Markup {
    html! {
        section id=(id) aria-labelledby=(format!("{id}-h")) {
            h2 id=(format!("{id}-h")) { (title) }
            div class="body" { (body) }
        }
    }
}

fn now(look: &Look<'_>, line: &PlainLine<'_>) -> Markup {
    let s = look.snapshot;
    let says = answer(line.now);
    let class = if line.now == Now::Fails { "plain fails" } else { "plain" };
    html! {
        section id="now" aria-label="Now" {
            @if s.practice { p class="small" { "Practice site: a virtual home with scripted faults, not a real line." } }
            div id="plain" class=(class) aria-live="polite" aria-atomic="true" { h1 { (says) } }
            p class="lead" { (since(look, line)) }
            @if let Some(t) = line.outage {
                p class="lead" { (sentence(&t.sentence)) @if let Some(side) = whose_side(s, t.lane) { " " (side) } }
            }
            p class="small" { (looked(look, line)) " " (reach(line)) }
        }
    }
}

fn since(look: &Look<'_>, line: &PlainLine<'_>) -> String {
    let s = look.snapshot;
    let Some(at) = line.since_s else {
        return match line.now {
            Now::Unknown if s.watch.ended.is_some() => "This watch has ended; nobody looks any more.".to_owned(),
            Now::Unknown if line.looked_s.is_none() => "Nothing of the way has been asked yet.".to_owned(),
            Now::Unknown => "The last news is too old to say.".to_owned(),
            _ => String::new(),
        };
    };
    let (when, lasted) = (moment(s, look.zone, look.now_s, at), (look.now_s - at).max(0.0));
    match line.now {
        Now::Works | Now::Unsteady if line.at_least => {
            format!("Since looking began, {when}: {} by now.", so_far(lasted))
        }
        Now::Works | Now::Unsteady => format!("Since {when}: {} by now.", so_far(lasted)),
        Now::Fails => format!("It stopped {when}, {} ago.", so_far(lasted)),
        Now::Unknown => format!("Nobody has been able to look since {when}."),
    }
}

fn looked(look: &Look<'_>, line: &PlainLine<'_>) -> String {
    match line.looked_s {
        Some(at) => {
            let when = moment(look.snapshot, look.zone, look.now_s, at);
            format!("Last looked {when}.")
        }
        None => "Not looked yet.".to_owned(),
    }
}

/// How far the answer reaches.
fn reach(line: &PlainLine<'_>) -> &'static str {
    match line.lane {
        Some(Lane::Receiver) => "Seen from this box as far as the alarm station’s receiver.",
        Some(_) => {
            "Seen from this box as far as the internet; the last step, to the alarm station’s receiver, is not looked at."
        }
        None => "",
    }
}

/// Whose side of the router a fault is on: the answer to "is it my router?".
fn whose_side(s: &Snapshot, lane: Lane) -> Option<&'static str> {
    let answers = |lane| s.lanes.iter().any(|v| v.lane == lane && v.state == LaneState::Good);
    Some(match lane {
        Lane::Power => "It begins with the power at the site.",
        Lane::Link => "It stops inside the home, at the network lead.",
        Lane::Address => "It stops inside the home: the network gives out no usable address.",
        Lane::Router => "It stops inside the home, at the router.",
        Lane::Names => return None,
        Lane::Outside if answers(Lane::Router) => "It is not the router: that answers. It stops on the line beyond.",
        Lane::Outside => "It stops beyond the router.",
        Lane::Receiver if answers(Lane::Router) && answers(Lane::Outside) => {
            "It is neither the router nor the internet: both answer. It stops at the alarm station’s receiver."
        }
        Lane::Receiver => "It stops at the alarm station’s receiver.",
    })
}

fn to_do(look: &Look<'_>, line: &PlainLine<'_>) -> Markup {
    let s = look.snapshot;
    if let Some(t) = line.outage.filter(|t| !t.step.is_empty()) {
        return html! { p class="step" { (step(&t.step)) } p { (job(t.who)) } };
    }
    if let Some(m) = s.mend.first() {
        return html! {
            p class="step" { (step(&m.step)) }
            p { (job(m.who)) " Because: " (step(&m.what)) }
            @if !m.proof.is_empty() { p { "Mended when: " (step(&m.proof)) } }
            @if s.mend.len() > 1 {
                details id="more-to-mend" {
                    summary { "After that" }
                    ol { @for m in s.mend.iter().skip(1).take(MORE_TO_MEND) {
                        li { (step(&m.step)) " " (job(m.who)) " Because: " (step(&m.what)) }
                    } }
                    @if s.mend.len() > 1 + MORE_TO_MEND {
                        p { "There is more in " a href="/technician#mend" { "the technician’s view" } "." }
                    }
                }
            }
        };
    }
    let leave = match s.verdict().kind {
        VerdictKind::AddCellular => "Ask the alarm company to add a cellular backup.".to_owned(),
        VerdictKind::IpAlone => "Nothing to mend. Keep the network gear on backup power.".to_owned(),
        VerdictKind::MendFirst | VerdictKind::KeepWatching => match s.verdict().needs_s.filter(|n| *n > 0.0) {
            _ if s.watch.ended.is_some() => "Nothing. To know more, watch again.".to_owned(),
            Some(n) if n.is_finite() => {
                format!("Nothing. Leave this box plugged in; about {} more would tell.", words::days(n))
            }
            _ => "Nothing. Leave this box plugged in.".to_owned(),
        },
    };
    html! { p class="step" { (leave) } }
}

/// What of it was the router: the first question of whoever has one.
fn router(look: &Look<'_>) -> Option<String> {
    let s = look.snapshot;
    let view = s.lanes.iter().find(|v| v.lane == Lane::Router)?;
    let now = match view.state {
        LaneState::Good => "The router answers",
        LaneState::Strained => "The router answers in part",
        LaneState::Bad => "The router does not answer",
        LaneState::Blind => return None,
    };
    let from_s = look.now_s - WEEK_S;
    let week = || s.troubles.iter().filter(move |t| t.outage && t.end_s.is_none_or(|e| e[2] >= from_s));
    let (all, its) = (week().count(), week().filter(|t| t.lane == Lane::Router).count());
    let week = match (all, its) {
        (0, _) => "nothing stopped an alarm this week".to_owned(),
        (_, 0) => "what stopped an alarm this week did not begin at it".to_owned(),
        (1, 1) => "what stopped an alarm this week began at it".to_owned(),
        (all, its) => format!("of the {all} times an alarm had no way out this week, {its} began at it"),
    };
    Some(format!("Is it the router? {now} now; {week}."))
}

fn way(look: &Look<'_>, line: &PlainLine<'_>) -> Markup {
    let s = look.snapshot;
    let stops = line.outage.map(|t| t.lane);
    html! {
        @if let Some(router) = router(look) { p { (router) } }
        ol class="way" {
            @for (i, v) in s.lanes.iter().enumerate() {
                li class=(state_class(v.state)) {
                    (stroke(v.state, i == 0, i + 1 == s.lanes.len()))
                    span class="name" { (lanes::row(v.lane).household) }
                    " "
                    span class="state" {
                        (state_words(v, look.now_s))
                        @if stops == Some(v.lane) { ". " strong { "Here it stops" } }
                        "."
                    }
                }
            }
        }
    }
}

const fn state_class(state: LaneState) -> &'static str {
    match state {
        LaneState::Good => "good",
        LaneState::Strained => "part",
        LaneState::Bad => "bad",
        LaneState::Blind => "blind",
    }
}

fn state_words(v: &LaneView, now_s: f64) -> String {
    let word = words::state(v.lane, v.state);
    if v.stretches.iter().all(|x| x.state == LaneState::Blind) {
        return "not looked at".to_owned();
    }
    let from = v.stretches.iter().rev().take_while(|x| x.state == v.state).last().map(|x| now_s - x.from_s);
    match from.filter(|s| s.is_finite() && *s >= 0.0) {
        Some(s) => format!("{word}, for {} now", so_far(s)),
        None => word.to_owned(),
    }
}

/// The line of the way beside one lane: whole, in part, broken (a draughtsman's break), or not known.
fn stroke(state: LaneState, first: bool, last: bool) -> Markup {
    let (top, bottom) = (if first { 24 } else { 0 }, if last { 24 } else { 48 });
    html! {
        svg class="stroke" viewBox="0 0 24 48" width="24" height="48" aria-hidden="true" focusable="false" {
            @match state {
                LaneState::Good => path class="ink" d=(format!("M12 {top}V{bottom}M6 24H18")) {},
                LaneState::Strained => path class="ink dash" d=(format!("M12 {top}V{bottom}M6 24H18")) {},
                LaneState::Bad => path class="ink stop" d=(format!("M12 {top}V15M4 18L20 12M4 36L20 30M12 33V{bottom}")) {},
                LaneState::Blind => path class="ink dots" d=(format!("M12 {top}V{bottom}")) {},
            }
        }
    }
}

/// The verdict as an answer to the question above it.
const fn short_answer(kind: VerdictKind) -> &'static str {
    match kind {
        VerdictKind::IpAlone => "Yes.",
        VerdictKind::AddCellular => "No.",
        VerdictKind::MendFirst => "Not yet.",
        VerdictKind::KeepWatching => "Not known yet.",
    }
}

fn enough(s: &Snapshot) -> Markup {
    let v = s.verdict();
    html! {
        p class="choice" { (short_answer(v.kind)) " " (words::verdict(s)) "." }
        @if v.kind == VerdictKind::KeepWatching && s.watch.observed_s < BEGUN_S && s.watch.ended.is_none() {
            p { "Looking has only just begun." }
        } @else if !v.sentence.is_empty() {
            p { (sentence(&v.sentence)) }
        }
        @if decides_today(s) && !v.safer_today.is_empty() {
            p { "If you must decide today, the safer choice: " strong { (sentence(&v.safer_today)) }
                @if !v.safer_because.is_empty() { " " (rests_on(&v.safer_because)) } }
        }
        p class="small" { "To hand over: " a href="/api/v1/report" { "the report" } "." }
        @let sure = words::how_sure(s);
        @let odds = odds_today(s).filter(|_| decides_today(s));
        @if sure.is_some() || odds.is_some() || !v.if_wrong.is_empty() || !v.could_change.is_empty() {
            details id="sure" {
                summary { "How sure is that, and what would change it?" }
                ul {
                    @for line in sure.into_iter().chain(odds) { li { (line) } }
                    @for line in v.if_wrong.iter().chain(&v.could_change) { li { (sentence(line)) } }
                }
            }
        }
    }
}

fn seen(look: &Look<'_>) -> Markup {
    let s = look.snapshot;
    html! {
        @if let Some((share, length)) = week_seen(look).filter(|_| look.now_s > WEEK_S) {
            p { "Of the last " (roughly(length)) ", the way was looked at for " (percent(share)) "." }
        }
        p { (words::watched(s)) " What was not looked at counts neither as good nor as bad." }
        @let never = unseen_lanes(s);
        @if !never.is_empty() { p { "Not looked at from here: " (never.join("; ")) "." } }
        @if !s.blind.is_empty() {
            p { "What else could not be seen, and why, stands in " a href="/technician#unseen" { "the technician’s view" } "." }
        }
    }
}

/// Lanes that were never looked at.
fn unseen_lanes(s: &Snapshot) -> Vec<String> {
    let never = |v: &&LaneView| v.stretches.iter().all(|x| x.state == LaneState::Blind);
    s.lanes.iter().filter(never).map(|v| lower_first(lanes::row(v.lane).household)).collect()
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_lowercase().chain(chars).collect())
}

/// Whom the lanes of one kind asked, each once.
fn asked_of(s: &Snapshot, lanes: &[Lane]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for t in s.targets.iter().filter(|t| lanes.contains(&t.lane) && t.asked > 0) {
        let name = safe(&t.target);
        if !out.contains(&name) {
            out.push(name);
        }
    }
    out
}

fn sends(look: &Look<'_>) -> Markup {
    let s = look.snapshot;
    let mut inside = asked_of(s, &[Lane::Router]);
    if !asked_of(s, &[Lane::Address]).is_empty() {
        // Its target is the interface: the question goes to all.
        inside.push("whoever gives out addresses".to_owned());
    }
    let outside = asked_of(s, &[Lane::Outside]);
    let mut receivers = asked_of(s, &[Lane::Receiver]);
    // Some questions about the receiver's lane are put to the far ends.
    receivers.retain(|name| !outside.contains(name));
    let whom = [
        ("Inside the home, whether the network is in order: ", inside),
        ("Whoever looks up names: ", asked_of(s, &[Lane::Names])),
        ("Far ends on the internet, whether they answer: ", outside),
        ("The alarm station’s receiver, whether it lets one connect; nothing is said to it: ", receivers),
    ];
    html! {
        p { "Small questions, at an even pace, to these and to nobody else. Never an alarm." }
        ul { @for (what, who) in whom.iter().filter(|(_, who)| !who.is_empty()) {
            li {
                (what) (who.iter().take(NAMED).cloned().collect::<Vec<_>>().join(", "))
                @if who.len() > NAMED { " and " (who.len() - NAMED) " more" }
                "."
            }
        } }
        @if !look.sends.is_empty() {
            details id="sent" {
                summary { "All of it, line by line" }
                ul { @for line in look.sends { li { (sentence(line)) } } }
            }
        }
    }
}

fn keeps(look: &Look<'_>) -> Markup {
    html! {
        p { "Times and answers of those questions, and the addresses found on the way; nothing of what you do on the internet." }
        p { "All of it is in one file on this box, " code { (safe(look.record)) } ", and nowhere else. To be rid of it, stop the watch, then run:" }
        p { code { "pathproof forget --all " (shell_word(look.record)) } }
    }
}

/// The plain line's words.
const fn answer(now: Now) -> &'static str {
    match now {
        Now::Works => "The alarm’s way out works.",
        Now::Unsteady => "The alarm’s way out works, but not steadily.",
        Now::Fails => "The alarm’s way out does not work right now.",
        Now::Unknown => "Nobody can say right now whether the alarm’s way out works.",
    }
}

/// The plain line as the title of the page.
pub(super) fn title(look: &Look<'_>) -> &'static str {
    answer(plain_line(look).now)
}

fn list(items: &[String]) -> Markup {
    html! { @if !items.is_empty() { ul { @for i in items.iter().take(40) { li { (safe(i)) } } } } }
}
