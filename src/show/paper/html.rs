//! A paper as one HTML file that needs nothing else and prints on A4 and Letter; and sections for a page of the server.
//!
//! Decides structure only. No script, no outside asset; a content policy in the page forbids both. The page size is the
//! printer's own, so margins are given and no size. Meaning is in words and structure, so it reads the same in grey, on
//! paper and aloud ([WCAG22]: 1.1.1, 1.3.1, 1.4.1).

use super::{Block, Kind, Paper};
use crate::show::picture::to_svg;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = concat!(include_str!("../base.css"), include_str!("paper.css"));
/// Nothing may be loaded or run; the one style sheet stands in the page.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// The paper as a self-contained HTML page.
pub fn to_html(paper: &Paper) -> String {
    let class = match paper.paper {
        Kind::Report => "report",
        Kind::Letter => "letter",
        Kind::Ticket => "ticket",
        Kind::SurveyRecord => "survey-record",
        Kind::PowerSheet => "power-sheet",
    };
    let blocks = &paper.blocks.0;
    let opening = blocks.iter().position(is_part).unwrap_or(blocks.len());
    page(
        &paper.title,
        class,
        &html! {
            header {
                p class="kicker" { (paper.kicker) }
                h1 { (paper.title) }
                (pieces(&blocks[..opening]))
            }
            main { (parts(&blocks[opening..])) }
        },
    )
}

/// A page of its own around a body: style and policy stand in it.
pub(in crate::show) fn page(title: &str, class: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="format-detection" content="telephone=no";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body class=(class) { (body) }
        }
    };
    page.into_string()
}

fn is_part(b: &Block) -> bool {
    matches!(b, Block::Heading { level: 2, .. })
}

/// Blocks that begin with a part: a section for each part.
pub(in crate::show) fn parts(blocks: &[Block]) -> Markup {
    html! { @for part in blocks.chunk_by(|_, next| !is_part(next)) { (part_of(part)) } }
}

fn part_of(blocks: &[Block]) -> Markup {
    html! {
        @match blocks.split_first() {
            Some((Block::Heading { id, text, .. }, rest)) => (section(id, text, &pieces(rest))),
            _ => (pieces(blocks)),
        }
    }
}

/// A section: its heading and what stands under it.
pub(in crate::show) fn section(id: &str, title: &str, body: &Markup) -> Markup {
    let heading = format!("{id}-h");
    html! {
        section id=(id) aria-labelledby=(heading) {
            h2 id=(heading) { (title) }
            div class="body" { (body) }
        }
    }
}

/// Blocks one after the other.
pub(in crate::show) fn pieces(blocks: &[Block]) -> Markup {
    html! { @for b in blocks { (block(b)) } }
}

fn block(b: &Block) -> Markup {
    html! {
        @match b {
            Block::Heading { level: 0..=2, text, .. } => h2 { (text) },
            Block::Heading { text, .. } => h3 { (text) },
            Block::Lead { text } => p class="lead" { (text) },
            Block::Say { text } => p { (text) },
            Block::List { items } => ul { @for i in items { li { (i) } } },
            Block::Pairs { pairs } => dl class="pairs" { @for (k, v) in pairs { dt { (k) } dd { (v) } } },
            Block::Table { caption, head, rows } => table {
                caption { (caption) }
                thead { tr { @for h in head { th scope="col" { (h) } } } }
                tbody { @for row in rows { tr {
                    @for (i, (h, c)) in head.iter().zip(row).enumerate() {
                        @if i == 0 { th scope="row" { (c) } } @else { td data-is=(h) { (c) } }
                    }
                } } }
            },
            Block::Picture(p) => figure {
                h3 { (p.title) }
                @match &p.narrow {
                    Some(narrow) => {
                        div class="for-narrow" { (to_svg(narrow)) }
                        div class="for-wide" { (to_svg(p)) }
                    }
                    None => div class="drawing" tabindex="0" { (to_svg(p)) },
                }
                figcaption { (p.description) }
            },
            Block::Verbatim { lines } => pre tabindex="0" { (lines.join("\n")) },
            Block::Sign { choices, who } => {
                ul class="choices" { @for c in choices { li { (c) } } }
                @for w in who { p class="signed" { (w) } }
            },
            Block::PageBreak => div class="page" {},
        }
    }
}
