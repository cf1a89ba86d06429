//! The power sheet for reading, keeping and printing: terminal, JSON, HTML.
//!
//! Decides layout only. Every line keeps its formula, inputs, result and source beside it; how it stands is a word, never
//! a colour. The sheet may hold text of the site file: every text goes through `words::safe`.

use super::escape;
use super::report::{POLICY, STYLE};
use super::words::{safe, wrap};
use crate::worksheet::sheet::{Line, Part, PowerSheet, Stand};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const fn word(stand: Stand) -> &'static str {
    match stand {
        Stand::Enough => "enough",
        Stand::Short => "SHORT",
        Stand::Open => "open",
        Stand::Figure => "figure",
    }
}

fn summary(s: &PowerSheet) -> String {
    let open = s.parts.iter().flat_map(|p| &p.lines).filter(|l| l.stand == Stand::Open).count();
    let open = match open {
        0 => String::new(),
        1 => " One line is open: something is not in the site file.".into(),
        n => format!(" {n} lines are open: something is not in the site file."),
    };
    match s.short.len() {
        0 => format!("Nothing that could be worked out falls short.{open}"),
        1 => format!("One thing falls short.{open}"),
        n => format!("{n} things fall short.{open}"),
    }
}

/// Source and tag, once where the source says it already.
fn whence(source: &str, tag: &str) -> String {
    if source.contains(tag) || tag == "site file" { source.to_owned() } else { format!("{source} [{tag}]") }
}

/// What the tags say, where any is shown.
const TAGS: &str = "How well a figure was checked: V read at its source, S second-hand, D derived from such, M from memory, \
                    choice ours.";

fn is_drilled(s: &PowerSheet) -> bool {
    s.parts.iter().flat_map(|p| &p.lines).flat_map(|l| &l.inputs).any(|i| i.tag == "drill")
}

/// Where its numbers come from, on the page.
fn whole(s: &PowerSheet) -> &'static str {
    if is_drilled(s) {
        "Worked out from the site file, published figures and what drills measured; nothing was sent."
    } else {
        "Worked out from the site file and published figures; nothing was sent or measured."
    }
}

/// The same in short.
fn how(s: &PowerSheet) -> &'static str {
    if is_drilled(s) {
        "Worked out, with what drills measured; nothing was sent."
    } else {
        "Worked out; nothing was sent or measured."
    }
}

/// The sheet for a terminal of so many columns.
pub fn terminal(s: &PowerSheet, width: usize) -> String {
    let mut out: Vec<String> = vec![format!("Power sheet, site {}. {}", safe(&s.site), how(s))];
    let mut say = |text: &str, first: &str, rest: &str| {
        out.extend(wrap(&safe(text), width, first, rest));
    };
    say(&summary(s), "", "");
    for short in &s.short {
        say(short, "  - ", "    ");
    }
    say(TAGS, "", "");
    say("", "", "");
    say("Cautions", "", "");
    for c in &s.cautions {
        say(c, "  - ", "    ");
    }
    for part in &s.parts {
        say("", "", "");
        say(&part.title.to_uppercase(), "", "");
        for c in &part.cautions {
            say(c, "! ", "  ");
        }
        for line in &part.lines {
            say("", "", "");
            say(&format!("{} - {}", line.what, word(line.stand)), "", "  ");
            say(&line.result, "  = ", "    ");
            say(line.formula, "  formula: ", "    ");
            for i in &line.inputs {
                say(&format!("{}: {} ({})", i.what, i.value, whence(i.source, i.tag)), "  from ", "    ");
            }
            say(&whence(line.source, line.tag), "  source: ", "    ");
            for n in &line.notes {
                say(n, "  note: ", "    ");
            }
        }
    }
    let mut text = out.iter().map(|l| l.trim_end()).collect::<Vec<_>>().join("\n");
    text.push('\n');
    text
}

/// The sheet as pretty JSON with a final newline, escaped like the snapshot's.
///
/// # Panics
/// Never: a sheet has only strings and words.
pub fn to_json(s: &PowerSheet) -> String {
    escape::json(&serde_json::to_string_pretty(s).expect("a sheet has only strings, so it always serialises"))
}

/// The sheet as a self-contained HTML page.
pub fn to_html(s: &PowerSheet) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="format-detection" content="telephone=no";
                title { "Power sheet, " (safe(&s.site)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    p class="kicker" { "Power sheet, site " (safe(&s.site)) }
                    h1 { "What a week of watching cannot show" }
                    p class="lead" { (summary(s)) }
                    @if !s.short.is_empty() { ul { @for short in &s.short { li { (safe(short)) } } } }
                    p class="small" { (whole(s)) " " (TAGS) }
                }
                main {
                    (cautions("cautions", "Cautions", &s.cautions))
                    @for (i, p) in s.parts.iter().enumerate() { (part(i, p)) }
                }
            }
        }
    };
    page.into_string()
}

fn cautions(id: &str, title: &str, all: &[&'static str]) -> Markup {
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (title) }
            div class="body" { ul { @for c in all { li { (c) } } } }
        }
    }
}

fn part(i: usize, p: &Part) -> Markup {
    let id = format!("part{i}");
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (p.title) }
            div class="body" {
                @for c in &p.cautions { p { strong { "Caution. " } (c) } }
                @for l in &p.lines { (line(l)) }
            }
        }
    }
}

fn line(l: &Line) -> Markup {
    html! {
        article {
            h3 { (safe(&l.what)) }
            p { strong { (word(l.stand)) } ": " (safe(&l.result)) }
            dl class="pairs" {
                dt { "Formula" } dd { (l.formula) }
                @for i in &l.inputs {
                    dt { (safe(&i.what)) } dd { (safe(&i.value)) " " span class="small" { (whence(i.source, i.tag)) } }
                }
                dt { "Source" } dd { (whence(l.source, l.tag)) }
                @for n in &l.notes { dt { "Note" } dd { (safe(n)) } }
            }
        }
    }
}
