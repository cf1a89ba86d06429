//! The technician's view: the lanes as a timing diagram to zoom and step through, each lane now, troubles with the
//! evidence for and against, figures, facts, requirement by requirement, what was not seen.
//!
//! Decides structure and how much is told; the diagram is [`chart`]'s, the words those of the report. Stepping is by
//! plain links; a script may follow them by key.

use super::course;
use super::window::{self, Step};
use super::{Look, Window, list};
use crate::show::answers::{FIRST_REASONS, answers, decides_today, odds_today, steadiness};
use crate::show::chart;
use crate::show::say::titles::named;
use crate::show::telling::{self, evidence, rests_on, sentence, trouble_sentences};
use crate::show::words::{self, Clock, safe, span};
use crate::snapshot::{Snapshot, Trouble, odds};
use maud::{Markup, html};

/// Troubles told in full, and after those in a line each; the API has the others.
const IN_FULL: usize = 12;
const IN_A_LINE: usize = 40;
/// Evidence lines of one kind told for a trouble.
const EVIDENCE: usize = 6;
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
    html! {
        (opening(s))
        (contents(s))
        (section("diagram", "The lanes over time", &diagram(look, w, &clock)))
        @if !s.mend.is_empty() { (section("mend", "What to mend", &mending(s))) }
        @if !s.requirements.is_empty() { (section("requirements", "Requirement by requirement", &requirements(s))) }
        (section("lanes", "Each lane now", &lanes(s, &clock)))
        (section("happened", "What happened", &happened(s, w, &clock)))
        (section("tell", "What to tell whom", &tell(s, &clock)))
        @if let Some(courses) = course::courses(s, w, &clock) { (section("courses", "Round trips and losses over time", &courses)) }
        @if !s.targets.is_empty() { (section("figures", "Round trips and losses in all", &figures(s))) }
        @if !s.facts.is_empty() { (section("facts", "Address, router and what else was found", &facts(s))) }
        @for a in answers(s) {
            (section(a.id, a.title, &html! {
                @for p in &a.says { p { (p) } }
                @if !a.list.is_empty() { ul { @for i in a.list.iter().take(ROWS) { li { (i) } } } }
            }))
        }
        (section("unseen", "What was not seen", &unseen(s)))
        (section("cautions", "Cautions", &list(&s.cautions)))
        (title_block(look, &clock))
    }
}

/// Where on the sheet what is.
fn contents(s: &Snapshot) -> Markup {
    let parts = [
        ("diagram", "The lanes over time", true),
        ("mend", "What to mend", !s.mend.is_empty()),
        ("requirements", "Requirements", !s.requirements.is_empty()),
        ("lanes", "Each lane now", true),
        ("happened", "What happened", true),
        ("tell", "What to tell whom", true),
        ("figures", "Figures", !s.targets.is_empty()),
        ("facts", "Address and router", !s.facts.is_empty()),
        ("unseen", "What was not seen", true),
    ];
    html! {
        nav id="contents" class="stepping" aria-label="On this sheet" {
            ul class="steps" {
                @for (id, says, _) in parts.iter().filter(|p| p.2) { li { a href=(format!("#{id}")) { (says) } } }
            }
        }
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

fn opening(s: &Snapshot) -> Markup {
    let v = &s.verdict;
    html! {
        section id="verdict" aria-label="Verdict" {
            @if s.practice { p class="small" { "Practice site: a virtual home with scripted faults, not a real line." } }
            div id="plain" aria-live="polite" aria-atomic="true" { h1 { (words::verdict(s)) } }
            @if !v.sentence.is_empty() { p class="lead" { (sentence(&v.sentence)) } }
            p { @if let Some(sure) = words::how_sure(s) { (sure) " " } (words::watched(s)) }
            @if decides_today(s) && !v.safer_today.is_empty() {
                p { "If it must be decided today: " strong { (sentence(&v.safer_today)) }
                    @if !v.safer_because.is_empty() { " " (rests_on(&v.safer_because)) }
                    @if let Some(odds) = odds_today(s) { " " (odds) } }
            }
            @if !v.reasons.is_empty() {
                ul { @for r in v.reasons.iter().take(FIRST_REASONS) { li { (sentence(r)) } } }
            }
            @if !v.if_wrong.is_empty() || !v.could_change.is_empty() {
                details id="why" {
                    summary { "What being wrong would cost, and what could change it" }
                    ul { @for c in v.if_wrong.iter().chain(&v.could_change) { li { (sentence(c)) } } }
                }
            }
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
            div class="for-narrow" { (drawn(&part, look, &[340, 240], "narrow")) }
            div class="for-wide" { (drawn(&part, look, &[980, 760, 600], "wide")) }
            figcaption {
                "From the inside of the home outward. A high line is answering, a low one is not, hatching is where nobody "
                "could look. Troubles stand beneath by number; brackets show how exactly an edge is known. "
                (clock.explained())
            }
        }
    }
}

/// The diagram at the first of these widths at which it is small enough to send, else at the last: what is drawn
/// narrower is scaled up, and more of it becomes "too brief to draw".
fn drawn(part: &Snapshot, look: &Look<'_>, widths: &[u32], id: &str) -> Markup {
    let mut drawing = html! {};
    for width in widths {
        drawing = chart::inline(part, look.zone, *width, id);
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
    let whole = telling::told_in_full(s);
    let open = |t: &Trouble| t.end_s.is_none();
    let full: Vec<&Trouble> =
        shown.iter().copied().filter(|t| open(t) || whole.contains(&t.number) || !all).take(IN_FULL).collect();
    let is_full = |t: &Trouble| full.iter().any(|f| f.number == t.number);
    let short: Vec<&Trouble> = shown.iter().copied().filter(|t| !is_full(t)).collect();
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
                        span class="num" { (t.number) } " "
                        a href=(window::around(t, s.watch.elapsed_s)) { (clock.at(t.start_s[1])) }
                        ": " (telling::told_shortly(t, clock, s.watch.elapsed_s).split_once(", ").map_or(String::new(), |(_, rest)| rest.to_owned()))
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
    html! {
        article class="trouble" id=(format!("t{}", t.number)) {
            h3 { span class="num" { (t.number) } " " (sentence(&t.sentence)) }
            p { @for line in trouble_sentences(t, clock, s.watch.elapsed_s) { (line) " " } }
            dl {
                @for (what, items) in evidence(t).filter(|(what, _)| *what != "Not excluded") {
                    dt { (what) } dd { (list_some(&items)) }
                }
                @if !t.alternatives.is_empty() {
                    dt { "Not excluded" }
                    dd { ul { @for (cause, p) in t.alternatives.iter().take(EVIDENCE) {
                        li { (safe(&named(cause))) ", " (odds(*p)) }
                    } } }
                } @else if !t.not_excluded.is_empty() {
                    dt { "Not excluded" } dd { (list_some(&t.not_excluded.iter().map(|c| named(c)).collect::<Vec<_>>())) }
                }
                @if !t.step.is_empty() { dt { "Next step" } dd { (sentence(&t.step)) } }
                @if !t.proof.is_empty() { dt { "Mended when" } dd { (sentence(&t.proof)) } }
            }
            p class="small" { a href=(window::around(t, s.watch.elapsed_s)) { "Show trouble " (t.number) " in the diagram" } }
        }
    }
}

/// What somebody outside the site needs to hear: how often, how long, when exactly, what answered meanwhile.
fn tell(s: &Snapshot, clock: &Clock<'_>) -> Markup {
    let length = |t: &Trouble| (t.end_s.map_or(s.watch.elapsed_s, |e| e[1]) - t.start_s[1]).max(0.0);
    let of = |who: &str| -> Vec<&Trouble> { s.troubles.iter().rev().filter(|t| t.outage && t.who == who).collect() };
    // What answered meanwhile clears those it was asked of.
    let meanwhile = |t: &Trouble| {
        let mut seen = t.evidence_for.iter().chain(&t.evidence_against);
        seen.find(|e| e.contains(" answered") && !e.contains("0 answered"))
            .map(|e| format!(" Meanwhile: {}", sentence(e)))
    };
    html! {
        @for (who, all) in [("The internet provider", of("provider")), ("The monitoring station", of("station"))] {
            h3 { (who) }
            @if all.is_empty() {
                p { "Nothing: no outage in " (span(s.watch.elapsed_s)) " was theirs to mend." }
            } @else {
                p {
                    (words::count(all.len(), "outage", "outages")) " in " (span(s.watch.elapsed_s)) ", "
                    (span(all.iter().map(|t| length(t)).sum())) " in all, the longest "
                    (span(all.iter().map(|t| length(t)).fold(0.0, f64::max))) ". The newest first:"
                }
                ol class="plain short" { @for t in all.iter().take(TOLD) { li {
                    span class="num" { (t.number) } " "
                    (clock.edge(t.start_s)) @match t.end_s { Some(end) => { " to " (clock.edge(end)) }, None => ", not over" }
                    ": " (sentence(if t.technician.is_empty() { &t.sentence } else { &t.technician }))
                    @if let Some(meanwhile) = meanwhile(t) { (meanwhile) }
                } } }
                @if all.len() > TOLD { p { (all.len() - TOLD) " older ones are in the report and the API." } }
                @if let Some(t) = all.first().filter(|t| !t.proof.is_empty()) { p { "Mended when: " (sentence(&t.proof)) } }
            }
        }
        p class="small" { "To hand over with it: " a href="/api/v1/report" { "the report" } ", with every time and what it rests on." }
    }
}

fn list_some(items: &[String]) -> Markup {
    html! {
        ul {
            @for i in items.iter().take(EVIDENCE) { li { (safe(i)) } }
            @if items.len() > EVIDENCE { li { (items.len() - EVIDENCE) " more" } }
        }
    }
}

fn mending(s: &Snapshot) -> Markup {
    html! {
        ol {
            @for m in s.mend.iter().take(ROWS) {
                li {
                    h3 { (sentence(&m.what)) }
                    p { (words::who(&m.who)) ": " (sentence(&m.step)) @if !m.proof.is_empty() { " Mended when: " (sentence(&m.proof)) } }
                }
            }
        }
    }
}

fn requirements(s: &Snapshot) -> Markup {
    html! {
        @if let Some(left_out) = telling::left_out(s) { p { (left_out) } }
        table {
            caption { "What is asked of the line, what was seen of it, and how that stands." }
            thead { tr {
                th scope="col" { "Requirement" } th scope="col" { "Asks for" } th scope="col" { "Seen" }
                th scope="col" { "Stands" }
            } }
            tbody { @for r in s.requirements.iter().take(ROWS) { tr {
                th scope="row" { (words::capital(&safe(&r.name))) }
                td data-is="Asks for" { (safe(&r.asks)) span class="small" { "Source: " (safe(&r.source)) } }
                td data-is="Seen" { (safe(&r.measured)) }
                td data-is="Stands" {
                    (words::standing(r.standing))
                    @for line in telling::how_it_stands(r, s.watch.observed_s) { span class="small" { (line) } }
                }
            } } }
        }
    }
}

fn figures(s: &Snapshot) -> Markup {
    html! {
        table {
            caption { "Who was asked what, and what came back. Questions that could not be put are not counted." }
            thead { tr {
                th scope="col" { "Asked" } th scope="col" { "Answers" } th scope="col" { "How quickly" }
            } }
            tbody { @for t in s.targets.iter().take(ROWS) { tr {
                th scope="row" {
                    (words::capital(&safe(&t.question)))
                    span class="small" { " " (safe(&t.target)) }
                }
                td data-is="Answers" { (telling::answered(t)) }
                td data-is="How quickly" {
                    (telling::times(t).unwrap_or_else(|| "No time taken.".to_owned()))
                    @if let Some(steady) = steadiness(t, s.watch.elapsed_s) { span class="small" { (steady) } }
                }
            } } }
        }
    }
}

fn facts(s: &Snapshot) -> Markup {
    html! {
        dl class="pairs" { @for f in s.facts.iter().take(ROWS) { dt { (words::capital(&safe(&f.label))) } dd { (safe(&f.value)) } } }
        @if s.facts.len() > ROWS { p { (s.facts.len() - ROWS) " more are in the API." } }
    }
}

fn unseen(s: &Snapshot) -> Markup {
    html! {
        @if s.blind.is_empty() { p { "Every lane could be asked." } }
        @for b in s.blind.iter().take(ROWS) {
            h3 { (words::lane(b.lane)) ": " (safe(&b.what)) }
            p {
                "Not seen for " (span(b.for_s)) ". Why: " (sentence(&b.why))
                @if !b.opens.is_empty() { " What would open it: " (sentence(&b.opens)) }
            }
        }
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
