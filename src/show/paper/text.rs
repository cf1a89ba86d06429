//! A paper as plain text, for a terminal, a mail or a work order.
//!
//! Decides line breaks and indents. A part's heading is in capitals. A table becomes one item a row, each cell with the name of its column.

use super::{Block, Paper};
use crate::show::columns::{columns, wrap};

/// The paper as text of at most `width` columns, but for lines that are to be copied. Ends with a newline.
pub fn to_text(paper: &Paper, width: usize) -> String {
    let width = width.max(30);
    let mut out = wrap(&paper.title, width, "", "");
    out.push("=".repeat(out.iter().map(|l| columns(l)).max().unwrap_or(0)));
    out.extend(wrap(&paper.kicker, width, "", ""));
    for block in &paper.blocks.0 {
        lines(block, width, &mut out);
    }
    out.join("\n") + "\n"
}

fn lines(block: &Block, width: usize, out: &mut Vec<String>) {
    match block {
        Block::Heading { level, text, .. } => {
            out.push(String::new());
            out.extend(if *level <= 2 { wrap(&text.to_uppercase(), width, "", "") } else { wrap(text, width, "", "") });
        }
        Block::Lead { text } => {
            // Beneath a heading it stands apart already.
            out.push(String::new());
            out.extend(wrap(text, width, "", ""));
            out.push(String::new());
        }
        Block::Say { text } => out.extend(wrap(text, width, "", "")),
        Block::List { items } => {
            for i in items {
                out.extend(wrap(i, width, "- ", "  "));
            }
        }
        Block::Pairs { pairs } => {
            for (k, v) in pairs {
                out.extend(wrap(&format!("{k}: {v}"), width, "  ", "    "));
            }
        }
        Block::Table { caption, head, rows } => {
            out.extend(wrap(caption, width, "", ""));
            for row in rows {
                let mut cells = head.iter().zip(row);
                let first = cells.next().map_or(String::new(), |(h, c)| format!("{h}: {c}"));
                out.extend(wrap(&first, width, "- ", "  "));
                for (h, c) in cells {
                    out.extend(wrap(&format!("{h}: {c}"), width, "  ", "    "));
                }
            }
        }
        Block::Picture(p) => {
            out.push(String::new());
            out.extend(wrap(&p.title, width, "", ""));
            out.extend(wrap(&p.description, width, "  ", "  "));
        }
        Block::Verbatim { lines } => {
            out.push("+---".to_owned());
            out.extend(lines.iter().map(|l| if l.is_empty() { "|".to_owned() } else { format!("| {l}") }));
            out.push("+---".to_owned());
        }
        Block::Sign { choices, who } => {
            for c in choices {
                out.extend(wrap(c, width, "[ ] ", "    "));
            }
            for w in who {
                out.push(String::new());
                out.extend(wrap(w, width, "", ""));
                out.push("_".repeat(width.min(60)));
            }
        }
        Block::PageBreak => out.push(String::new()),
    }
}
