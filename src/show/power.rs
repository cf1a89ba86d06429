//! The power sheet for reading, keeping and printing: terminal, JSON, HTML.
//!
//! Decides layout only. Every line keeps its formula, inputs, result and source beside it; how it stands is a word, never
//! a colour. The sheet may hold text of the site file: every text goes through `words::safe`.

use super::escape;
use super::paper::{self, Blocks, Kind, Paper, to_text};
use super::words::safe;
use crate::worksheet::sheet::{Line, PowerSheet, Stand};

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
    if (tag.len() > 1 && source.contains(tag)) || tag == "site file" {
        source.to_owned()
    } else {
        format!("{source} [{tag}]")
    }
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

/// The sheet for a terminal of so many columns.
pub fn terminal(s: &PowerSheet, width: usize) -> String {
    to_text(&paper(s), width)
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
    paper::to_html(&paper(s))
}

fn paper(s: &PowerSheet) -> Paper {
    let kicker = format!("Power sheet, site {}", safe(&s.site));
    let mut paper = Paper::new(Kind::PowerSheet, &kicker, "What a week of watching cannot show");
    let b = &mut paper.blocks;
    b.lead(&summary(s)).list(s.short.iter().map(|x| safe(x))).say(format!("{} {TAGS}", whole(s)));
    b.part("cautions", "Cautions").list(&s.cautions);
    for (i, part) in s.parts.iter().enumerate() {
        b.part(&format!("part{i}"), part.title);
        for c in &part.cautions {
            b.say(format!("Caution. {c}"));
        }
        for l in &part.lines {
            line(b, l);
        }
    }
    paper
}

fn line(b: &mut Blocks, l: &Line) {
    b.piece(&format!("{} – {}", safe(&l.what), word(l.stand))).say(safe(&l.result));
    let inputs = l.inputs.iter().map(|i| (safe(&i.what), format!("{} ({})", safe(&i.value), whence(i.source, i.tag))));
    let notes = l.notes.iter().map(|n| ("Note".to_owned(), safe(n)));
    let formula = [("Formula".to_owned(), l.formula.to_owned())];
    let source = [("Source".to_owned(), whence(l.source, l.tag))];
    b.pairs(formula.into_iter().chain(inputs).chain(source).chain(notes));
}
