//! The technician's view: the lanes as a timing diagram to zoom and step through, each lane now, what happened in the part
//! shown, what to tell whom; and the sections of the report.
//!
//! Decides structure and how much is told; what stands in a shared section is built in [`part`]. Stepping is by plain
//! links; a script may follow them by key.

use super::course;
use super::window::{self, Step};
use super::{Look, Window};
use crate::judge::{Actor, Sign};
use crate::show::paper::html::{parts, pieces, section};
use crate::show::paper::part::{self, sentence};
use crate::show::paper::{Block, Blocks};
use crate::show::picture::{self, to_svg};
use crate::show::words::{self, Clock, safe, span};
use crate::snapshot::{Bout, Snapshot, Trouble, down_s};
use crate::words::{people, signs};
use maud::{Markup, html};

/// Troubles told in full, and after those in a line each; the API has the others.
const IN_FULL: usize = 12;
const IN_A_LINE: usize = 40;
/// What shows that a fault lies elsewhere.
const CLEARING: [Sign; 4] = [Sign::RouterAnswered, Sign::NamesAnswered, Sign::OutsideAnswered, Sign::ReceiverAnswered];
/// Outages told to one who is outside.
const TOLD: usize = 10;
/// What one drawing of the lanes may weigh, bytes.
const DRAWING: usize = 34_000;
/// Targets, facts and the like that one page lists.
const ROWS: usize = 60;

/// Everything inside `<main>`.
pub(super) fn main(look: &Look<'_>, window: Option<Window>) -> Markup {
    let s = look.snapshot;
    let w = window::inside(window, s.watch.elapsed_s);
    let clock = Clock::new(s, look.zone);
    let shared = |build: &dyn Fn(&mut Blocks)| {
        let mut b = Blocks::default();
        build(&mut b);
        b.at_most(ROWS)
    };
    let first = shared(&|b| {
        part::today(b, s);
        part::mending(b, s);
        part::requirements(b, s);
    });
    let more = shared(&|b| {
        part::figures(b, s);
        part::facts(b, s);
        part::weighed(b, s);
        part::wrong(b, s);
        part::what_could_change(b, s);
        part::answers(b, s);
        part::unseen(b, s);
        part::cautions(b, s);
    });
    html! {
        (opening(s))
        (contents(&[&first, &more]))
        (section("diagram", "The lanes over time", &diagram(look, w, &clock)))
        (parts(&first.0))
        (section("lanes", "Each lane now", &lanes(s, &clock)))
        (section("happened", "What happened", &happened(s, w, &clock)))
        (section("tell", "What to tell whom", &tell(s, &clock)))
        @if let Some(courses) = course::courses(s, w, &clock) { (section("courses", "Round trips and losses over time", &courses)) }
        (parts(&more.0))
        (title_block(look, &clock))
    }
}

/// Where on the sheet what is.
fn contents(shared: &[&Blocks]) -> Markup {
    let own = [("lanes", "Each lane now"), ("happened", "What happened"), ("tell", "What to tell whom")];
    let of = |b: &Block| match b {
        Block::Heading { level: 2, id, text } => Some((id.clone(), text.clone())),
        _ => None,
    };
    let shared = shared.iter().flat_map(|b| &b.0).filter_map(of);
    let all = own.map(|(id, text)| (id.to_owned(), text.to_owned())).into_iter().chain(shared);
    html! {
        nav id="contents" class="stepping" aria-label="On this sheet" {
            ul class="steps" { @for (id, text) in all { li { a href=(format!("#{id}")) { (text) } } } }
        }
    }
}

fn opening(s: &Snapshot) -> Markup {
    let mut b = Blocks::default();
    if !s.verdict().sentence.is_empty() {
        b.lead(&sentence(&s.verdict().sentence));
    }
    part::sure(&mut b, s);
    let mut why = Blocks::default();
    part::reasons(&mut why, s);
    html! {
        section id="verdict" aria-label="Verdict" {
            div id="plain" aria-live="polite" aria-atomic="true" { h1 { (words::verdict(s)) } }
            (pieces(&b.0))
            (pieces(why.0.get(1..).unwrap_or_default()))
        }
    }
}

fn links(name: &str, steps: &[Step]) -> Markup {
    html! {
        ul class="steps" aria-label=(name) {
            @for s in steps {
                li {
                    @match &s.to {
                        Some(to) => a href=(to) id=(format!("step-{}", s.says.replace(' ', "-").to_lowercase()))
                            data-key=[s.key] { (s.says) },
                        None => span aria-disabled="true" { (s.says) },
                    }
                }
            }
        }
    }
}

fn diagram(look: &Look<'_>, w: Window, clock: &Clock<'_>) -> Markup {
    let s = look.snapshot;
    let part = window::part(s, w);
    html! {
        nav class="stepping" aria-label="Part of the record shown" {
            (links("Length shown", &window::spans(w, s.watch.elapsed_s)))
            (links("Step and zoom", &window::steps(w, s.watch.elapsed_s)))
        }
        p class="small" { "From " (clock.at(w.from_s)) " to " (clock.at(w.to_s)) ", " (span(w.to_s - w.from_s)) "." }
        figure id="lanes-drawn" tabindex="0" aria-label="Timing diagram. With the focus here the arrow keys step, plus and minus zoom." {
            div class="for-narrow" { (drawn(&part, look, &[340, 240])) }
            div class="for-wide" { (drawn(&part, look, &[880, 640])) }
            figcaption { "From the inside of the home outward. " (clock.explained()) }
        }
    }
}

/// The diagram at the first of these widths at which it is small enough to send, else at the last: what is drawn
/// narrower is scaled up, and more of it becomes "too brief to draw".
fn drawn(part: &Snapshot, look: &Look<'_>, widths: &[u32]) -> Markup {
    let mut drawing = html! {};
    for width in widths {
        drawing = picture::lanes(part, look.zone, *width).map_or_else(|| html! {}, |p| to_svg(&p));
        if drawing.0.len() <= DRAWING {
            break;
        }
    }
    drawing
}

fn lanes(s: &Snapshot, clock: &Clock<'_>) -> Markup {
    html! {
        table {
            caption { "Inside out, as last looked at." }
            thead { tr {
                th scope="col" { "Lane" } th scope="col" { "State" } th scope="col" { "Last seen" } th scope="col" { "At" }
            } }
            tbody { @for v in &s.lanes { tr {
                th scope="row" { (words::lane(v.lane)) }
                td data-is="State" {
                    (words::state(v.lane, v.state))
                    @if let Some(held) = words::held_for(v) { span class="small" { "for " (span(held)) } }
                }
                td data-is="Last seen" { @if v.last.is_empty() { "–" } @else { (safe(&v.last)) } }
                td data-is="At" { @match v.last_s { Some(at) => (clock.short(at, false)), None => "–" } }
            } } }
        }
    }
}

fn happened(s: &Snapshot, w: Window, clock: &Clock<'_>) -> Markup {
    let all = window::is_all(w, s.watch.elapsed_s);
    // The newest first: that is what one comes for.
    let shown: Vec<&Trouble> = s.troubles.iter().rev().filter(|t| window::meets(t, w)).collect();
    let whole = part::told_in_full(s);
    let in_full = |t: &Trouble| t.end_s.is_none() || whole.contains(&t.number) || !all;
    let full: Vec<&Trouble> = shown.iter().copied().filter(|t| in_full(t)).take(IN_FULL).collect();
    let told = |t: &Trouble| full.iter().any(|f| f.number == t.number);
    let short: Vec<&Trouble> = shown.iter().copied().filter(|t| !told(t)).collect();
    html! {
        p {
            @if all { (words::troubles(s)) } @else {
                @match shown.len() {
                    0 => "No trouble",
                    n => (words::count(n, "trouble", "troubles")),
                }
                " in the part shown above, of " (s.troubles.len()) " in all."
            }
            @if !shown.is_empty() { " The newest first." }
        }
        @for t in &full { (trouble(s, t, clock)) }
        @if !short.is_empty() {
            h3 { @if full.is_empty() { "In a line each" } @else { "The others, in a line each" } }
            ol class="plain short" {
                @for t in short.iter().take(IN_A_LINE) {
                    li id=(format!("t{}", t.number)) {
                        (t.number) ". "
                        a href=(window::around(t, s.watch.elapsed_s)) { (clock.at(t.start_s[1])) }
                        ", " (part::in_a_line(t, s.watch.elapsed_s))
                    }
                }
            }
            @if short.len() > IN_A_LINE {
                p { (short.len() - IN_A_LINE) " older ones are not listed here: show a shorter part of the record above, or ask the API for them." }
            }
        }
    }
}

fn trouble(s: &Snapshot, t: &Trouble, clock: &Clock<'_>) -> Markup {
    let mut b = Blocks::default();
    part::trouble(&mut b, s, t, clock);
    let act = [("Next step", sentence(&t.step)), ("Mended when", sentence(&t.proof))];
    b.pairs(act.into_iter().filter(|(_, told)| !told.is_empty()));
    html! {
        article class="trouble" id=(format!("t{}", t.number)) {
            (pieces(&b.0))
            p class="small" { a href=(window::around(t, s.watch.elapsed_s)) { "Show trouble " (t.number) " in the diagram" } }
        }
    }
}

/// What somebody outside the site needs to hear: how often, how long, when exactly, what answered meanwhile.
fn tell(s: &Snapshot, clock: &Clock<'_>) -> Markup {
    let now_s = s.watch.elapsed_s;
    let of =
        |who: Actor| -> Vec<Bout<'_>> { s.troubles.iter().filter(|t| t.who == who).filter_map(Bout::of).collect() };
    // What answered meanwhile clears those it was asked of.
    let meanwhile = |t: &Trouble| -> Option<String> {
        let seen = t.evidence.iter().find(|c| c.holds && CLEARING.contains(&c.sign))?;
        Some(format!(" Meanwhile: {}.", signs::sign(*seen)))
    };
    html! {
        @for (who, all) in [Actor::Provider, Actor::Station].map(|who| (people::who(who), of(who))) {
            h3 { (who) }
            @if all.is_empty() {
                p { "Nothing: no outage in " (span(now_s)) " was theirs to mend." }
            } @else {
                p {
                    (words::count(all.len(), "outage", "outages")) " in " (span(now_s)) ", "
                    (span(down_s(&all, 0.0, now_s))) " in all, the longest "
                    (span(all.iter().map(|b| b.length_s(now_s)[1]).fold(0.0, f64::max))) ". The newest first:"
                }
                ol class="plain short" { @for b in all.iter().rev().take(TOLD) { @let t = b.trouble; li {
                    (t.number) ". " (clock.edge(b.from_s)) @match b.to_s { Some(end) => { " to " (clock.edge(end)) }, None => ", not over" }
                    ": " (sentence(if t.technician.is_empty() { &t.sentence } else { &t.technician }))
                    @if let Some(meanwhile) = meanwhile(t) { (meanwhile) }
                } } }
                @if all.len() > TOLD { p { (all.len() - TOLD) " older ones are in the report and the API." } }
                @if let Some(b) = all.last().filter(|b| !b.trouble.proof.is_empty()) { p { "Mended when: " (sentence(&b.trouble.proof)) } }
            }
        }
        p class="small" { "To hand over with it: " a href="/api/v1/report" { "the report" } ", with every time and what it rests on." }
    }
}

/// As in the corner of a drawing.
fn title_block(look: &Look<'_>, clock: &Clock<'_>) -> Markup {
    let s = look.snapshot;
    html! {
        section id="sheet" aria-label="This sheet" {
            dl class="sheet" {
                div { dt { "Site" } dd { (safe(&s.site)) } }
                div { dt { "Record begins" } dd { (words::full_time(s.wall(0.0), look.zone)) } }
                div { dt { "Drawn up to" } dd { (words::full_time(s.wall(s.watch.elapsed_s), look.zone)) } }
                div { dt { "Ended" } dd { @match &s.watch.ended { Some(how) => (sentence(how)), None => "goes on" } } }
                div { dt { "Kept in" } dd { (safe(look.record)) } }
                div { dt { "Made by" } dd { "pathproof " (safe(&s.version)) ", format " (s.format) } }
                @if let Some(a) = &s.agent {
                    div { dt { "Agent" } dd {
                        (words::count(a.restarts as usize, "probe started again", "probes started again")) ", "
                        (words::count(a.sleeps as usize, "sleep", "sleeps")) ", "
                        (words::count(a.steps as usize, "clock step", "clock steps"))
                        @if let Some(stop) = &a.last_stop { "; before it: " (safe(stop)) }
                    } }
                }
            }
            p class="small" {
                (clock.explained()) " To hand over: " a href="/api/v1/report" { "the report" } ". For programs: "
                a href="/api/v1/snapshot" { "all of this" } ", " a href="/api/v1/troubles" { "every trouble" } ", "
                a href="/api/v1/openapi.json" { "what else there is" } "."
            }
        }
    }
}
