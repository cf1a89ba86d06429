//! A paper as one HTML file that needs nothing else and prints on A4 and Letter.
//!
//! Decides structure only. No script, no outside asset; the same content policy as the survey report's. The page size is
//! the printer's own, so margins are given and no size.

use super::{Block, Kind, Paper};
use crate::show::picture::to_svg;
use crate::show::report::{POLICY, STYLE};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const PAPER_STYLE: &str = include_str!("paper.css");

/// The paper as a self-contained HTML page.
pub fn to_html(paper: &Paper) -> String {
    let class = match paper.paper {
        Kind::Letter => "paper letter",
        Kind::Ticket => "paper ticket",
        Kind::SurveyRecord => "paper survey-record",
    };
    let lead = paper.blocks.iter().take_while(|b| matches!(b, Block::Lead { .. })).count();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="format-detection" content="telephone=no";
                title { (paper.title) }
                style { (PreEscaped(STYLE)) (PreEscaped(PAPER_STYLE)) }
            }
            body class=(class) {
                header {
                    p class="kicker" { (paper.kicker) }
                    h1 { (paper.title) }
                    @for b in &paper.blocks[..lead] { (block(b)) }
                }
                main { @for b in &paper.blocks[lead..] { (block(b)) } }
            }
        }
    };
    page.into_string()
}

fn block(b: &Block) -> Markup {
    html! {
        @match b {
            Block::Heading { level: 0..=2, text } => h2 { (text) },
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
                div class="drawing" tabindex="0" { (to_svg(p)) }
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
