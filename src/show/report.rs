//! The survey report: one HTML file that needs nothing else, to hand over, print and defend.
//!
//! Decides structure and wording of the page: verdict first, then what it rests on. No script, no outside asset; a
//! content policy in the page forbids both. Every text goes through `words::safe` and maud's escaping. Meaning is in
//! words and structure, so it reads the same in grey, on paper and aloud (WCAG 2.2: 1.1.1, 1.3.1, 1.4.1).

use super::answers::{Answer, FIRST_REASONS, answers, decides_today, odds_today, steadiness};
use super::chart;
use super::telling::{self, evidence, rests_on, sentence, trouble_sentences};
use super::words::{self, Clock, safe, span};
use crate::snapshot::{Mend, Snapshot, Trouble};
use jiff::tz::TimeZone;
use maud::{DOCTYPE, Markup, PreEscaped, html};

pub(super) const STYLE: &str = include_str!("report.css");
/// Nothing may be loaded or run; the one style sheet stands in the page.
pub(super) const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// The report as a self-contained HTML page, times in `zone`.
pub fn to_html(s: &Snapshot, zone: &TimeZone) -> String {
    let clock = Clock::new(s, zone);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="format-detection" content="telephone=no";
                title { (s.verdict.kind.words()) " – alarm path survey, " (safe(&s.site)) }
                style { (PreEscaped(STYLE)) (PreEscaped(chart::STYLE)) }
            }
            body {
                header { (opening(s, zone)) }
                main {
                    (mending(&s.mend))
                    @if !s.requirements.is_empty() {
                        (section("requirements", "Requirement by requirement", false, &requirements(s)))
                    }
                    @for a in answers(s) { (section(a.id, a.title, false, &answer(&a))) }
                    (section("diagram", "The lanes over time", true, &diagram(s, zone, &clock)))
                    (section("happened", "What happened", false, &happened(s, &clock)))
                    (section("unseen", "What was not seen", false, &unseen(s)))
                    @if !s.targets.is_empty() {
                        (section("figures", "Figures", false, &figures(s)))
                    }
                    @if !s.facts.is_empty() { (section("facts", "Found on the way", false, &facts(s))) }
                    (section("cautions", "Cautions", false, &list(&s.cautions)))
                }
                footer { (identity(s, zone, &clock)) }
            }
        }
    };
    page.into_string()
}

fn section(id: &str, title: &str, wide: bool, body: &Markup) -> Markup {
    html! {
        section class=[wide.then_some("wide")] aria-labelledby=(id) {
            h2 id=(id) { (title) }
            div class="body" { (body) }
        }
    }
}

fn opening(s: &Snapshot, zone: &TimeZone) -> Markup {
    let v = &s.verdict;
    html! {
        p class="kicker" {
            "Alarm path survey, site " (safe(&s.site)) ", " (words::zoned(s.wall(0.0), zone).strftime("%-d %B %Y").to_string())
        }
        @if s.practice {
            p class="small" { "Practice site: a virtual home with scripted faults, not a real line." }
        }
        h1 { (words::verdict(s)) }
        @if !v.sentence.is_empty() { p class="lead" { (safe(&v.sentence)) } }
        p { @if let Some(sure) = words::how_sure(s) { (sure) " " } (words::watched(s)) }
        @if decides_today(s) {
            div class="today" {
                p class="small" { "If you must decide today" }
                p class="choice" { (sentence(&v.safer_today)) }
                @if !v.safer_because.is_empty() { p { (rests_on(&v.safer_because)) } }
                @if let Some(odds) = odds_today(s) { p { (odds) } }
                (list(&v.if_wrong))
            }
        }
        @if !v.reasons.is_empty() {
            h2 { "Why" }
            ul { @for r in v.reasons.iter().take(FIRST_REASONS) { li { (sentence(r)) } } }
        }
        @if !decides_today(s) && !v.if_wrong.is_empty() {
            h2 { "What being wrong would cost" }
            (list(&v.if_wrong))
        }
        @let more = words::more(v.needs_s).filter(|_| v.could_change.is_empty());
        @if !v.could_change.is_empty() || more.is_some() {
            h2 { "What could change this answer" }
            ul { @for c in v.could_change.iter().chain(&more) { li { (sentence(c)) } } }
        }
    }
}

fn answer(a: &Answer) -> Markup {
    html! {
        @for p in &a.says { p { (p) } }
        @if !a.list.is_empty() { ul { @for i in &a.list { li { (i) } } } }
    }
}

fn list(items: &[String]) -> Markup {
    html! { @if !items.is_empty() { ul { @for i in items { li { (safe(i)) } } } } }
}

fn mending(mend: &[Mend]) -> Markup {
    let body = html! {
        ol class="plain mend" {
            @for m in mend {
                li class="kept" {
                    h3 { (safe(&m.what)) }
                    dl {
                        dt { "Who acts" } dd { (words::who(&m.who)) }
                        dt { "Next step" } dd { (sentence(&m.step)) }
                        @if !m.proof.is_empty() { dt { "Mended when" } dd { (sentence(&m.proof)) } }
                    }
                }
            }
        }
    };
    html! { @if !mend.is_empty() { (section("mend", "What to mend", false, &body)) } }
}

fn diagram(s: &Snapshot, zone: &TimeZone, clock: &Clock<'_>) -> Markup {
    html! {
        figure {
            div class="for-narrow" { (chart::inline(s, zone, 340, "narrow")) }
            div class="for-wide" { (chart::inline(s, zone, 980, "wide")) }
            figcaption {
                "From the inside of the home outward. A high line is answering, a low one is not, hatching is where nobody "
                "could look. Troubles stand beneath by number; brackets show how exactly an edge is known. "
                (clock.explained())
            }
        }
    }
}

fn happened(s: &Snapshot, clock: &Clock<'_>) -> Markup {
    html! {
        p { (words::troubles(s)) }
        @let whole = telling::told_in_full(s);
        @for t in &s.troubles {
            @if whole.contains(&t.number) {
                (trouble(t, clock, s.watch.elapsed_s))
            } @else {
                p class="short" { span class="num" { (t.number) } " " (telling::told_shortly(t, clock, s.watch.elapsed_s)) }
            }
        }
    }
}

fn trouble(t: &Trouble, clock: &Clock<'_>, now_s: f64) -> Markup {
    html! {
        article class="trouble kept" {
            h3 { span class="num" { (t.number) } " " (safe(&t.sentence)) }
            p { @for line in trouble_sentences(t, clock, now_s) { (line) " " } }
            dl {
                @for (what, items) in evidence(t) {
                    dt { (what) }
                    dd { (list(&items)) }
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
            tbody { @for r in &s.requirements { tr {
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

fn unseen(s: &Snapshot) -> Markup {
    html! {
        @if s.blind.is_empty() { p { "Every lane could be asked." } }
        @for b in &s.blind {
            div class="kept" {
                h3 { (words::lane(b.lane)) ": " (safe(&b.what)) }
                p {
                    "Not seen for " (span(b.for_s)) ". Why: " (sentence(&b.why))
                    @if !b.opens.is_empty() { " What would open it: " (sentence(&b.opens)) }
                }
            }
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
            tbody { @for t in &s.targets { tr {
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
    html! { dl class="pairs" { @for f in &s.facts { dt { (safe(&f.label)) } dd { (safe(&f.value)) } } } }
}

fn identity(s: &Snapshot, zone: &TimeZone, clock: &Clock<'_>) -> Markup {
    html! {
        h2 { "This record" }
        dl class="pairs" {
            dt { "Site" } dd { (safe(&s.site)) }
            dt { "From" } dd { (words::full_time(s.wall(0.0), zone)) }
            dt { "To" } dd { (words::full_time(s.wall(s.watch.elapsed_s), zone)) }
            dt { "Ended" }
            dd {
                @match &s.watch.ended { Some(how) => (sentence(how)), None => "still running, or cut off" }
            }
            dt { "Clock" } dd { (clock.explained()) }
            dt { "Made by" } dd { "pathproof " (safe(&s.version)) ", format " (s.format) }
        }
    }
}
