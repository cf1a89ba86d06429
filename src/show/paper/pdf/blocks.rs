//! From blocks to lines on pages.
//!
//! Decides sizes, indents, the widths of columns, and what stays together: a heading with what follows it, a row of a
//! table, a picture with its title.

use super::draw;
use super::pages::{BOLD, Heads, LINE, Pages, REGULAR, Role, SIDE};
use crate::show::paper::{Block, Kind, Paper};

const GRAY: f32 = 0.3;
const RULE: f32 = 0.75;

/// Sizes of a paper, points.
struct Sizes {
    body: f32,
    small: f32,
    lead: f32,
    title: f32,
    part: f32,
    piece: f32,
    /// Between blocks.
    gap: f32,
    /// Before a part.
    before: f32,
}

const LETTER: Sizes =
    Sizes { body: 9.4, small: 8.4, lead: 10.8, title: 17.0, part: 11.2, piece: 10.0, gap: 3.4, before: 7.0 };
const LONG: Sizes =
    Sizes { body: 9.0, small: 8.0, lead: 11.0, title: 19.0, part: 13.0, piece: 10.0, gap: 5.0, before: 16.0 };

/// Lays the paper out.
pub(super) fn flow(paper: &Paper, pages: &mut Pages) {
    let z = if paper.paper == Kind::Letter { &LETTER } else { &LONG };
    pages.piece(Role::Paragraph);
    say(pages, &paper.kicker, REGULAR, z.small, GRAY, 0.0);
    pages.y -= 2.0;
    pages.piece(Role::Title);
    say(pages, &paper.title, BOLD, z.title, 0.0, 0.0);
    pages.y -= z.gap;
    for b in &paper.blocks.0 {
        block(b, z, pages);
        pages.close();
    }
}

fn block(b: &Block, z: &Sizes, pages: &mut Pages) {
    match b {
        Block::Heading { level, text, .. } => {
            let (size, before) = if *level <= 2 { (z.part, z.before) } else { (z.piece, z.before * 0.6) };
            pages.ensure(before + size * 1.3 + 72.0);
            if !pages.empty {
                pages.y -= before;
            }
            pages.piece(Role::Heading(*level));
            say(pages, text, BOLD, size, 0.0, 0.0);
            pages.y -= z.gap * 0.6;
        }
        Block::Lead { text } => {
            pages.piece(Role::Paragraph);
            say(pages, text, REGULAR, z.lead, 0.0, 0.0);
            pages.y -= z.gap;
        }
        Block::Say { text } => {
            pages.piece(Role::Paragraph);
            say(pages, text, REGULAR, z.body, 0.0, 0.0);
            pages.y -= z.gap;
        }
        Block::List { items } => {
            pages.holding(Role::List, |pages| {
                for item in items {
                    pages.ensure(z.body * 1.4);
                    let y = pages.y - z.body * 1.05;
                    pages.rule([SIDE + 3.0, y + z.body * 0.32], [SIDE + 7.0, y + z.body * 0.32], 0.0);
                    pages.holding(Role::Item, |pages| {
                        pages.piece(Role::Words);
                        say(pages, item, REGULAR, z.body, 0.0, 14.0);
                    });
                    pages.y -= z.gap * 0.4;
                }
            });
            pages.y -= z.gap * 0.6;
        }
        Block::Pairs { pairs } => {
            pages.holding(Role::Table, |pages| {
                for (k, v) in pairs {
                    row(pages, &[k, v], &[LINE * 0.24, LINE * 0.76], &Look::pair(z));
                    pages.y -= z.gap * 0.4;
                }
            });
            pages.y -= z.gap * 0.6;
        }
        Block::Table { caption, head, rows } => table(caption, head, rows, z, pages),
        Block::Picture(p) => {
            let scale = LINE / p.width as f32;
            let height = p.height as f32 * scale;
            pages.ensure(height + z.piece * 1.3 + z.small * 3.0 + z.gap * 4.0);
            pages.y -= z.gap * 1.6;
            pages.piece(Role::Heading(3));
            say(pages, &p.title, BOLD, z.piece, 0.0, 0.0);
            pages.y -= z.gap;
            pages.piece(Role::Figure(p.description.clone()));
            draw::draw(pages, p, scale);
            pages.y -= height + z.gap;
            pages.piece(Role::Paragraph);
            say(pages, &p.description, REGULAR, z.small, GRAY, 0.0);
            pages.y -= z.gap * 1.6;
        }
        Block::Verbatim { lines } => {
            pages.y -= z.gap;
            for line in lines {
                let pieces = pages.lines(line, REGULAR, z.small, LINE - 12.0);
                let height = (pieces.len().max(1)) as f32 * z.small * 1.4;
                pages.ensure(height);
                pages.rule([SIDE + 1.0, pages.y], [SIDE + 1.0, pages.y - height], 0.0);
                pages.piece(Role::Paragraph);
                set(pages, &pieces, REGULAR, z.small, 0.0, 10.0);
            }
            pages.y -= z.gap * 1.5;
        }
        Block::Sign { choices, who } => sign(choices, who, z, pages),
        Block::PageBreak => {
            if !pages.empty {
                pages.turn();
            }
        }
    }
}

fn sign(choices: &[String], who: &[String], z: &Sizes, pages: &mut Pages) {
    for c in choices {
        pages.ensure(z.body * 4.0);
        pages.y -= z.gap;
        let (x, y, side) = (SIDE + 1.0, pages.y - z.body * 1.15, z.body);
        for (from, to) in
            [([0.0, 0.0], [1.0, 0.0]), ([1.0, 0.0], [1.0, 1.0]), ([1.0, 1.0], [0.0, 1.0]), ([0.0, 1.0], [0.0, 0.0])]
        {
            let at = |p: [f32; 2]| [x + p[0] * side, y + p[1] * side];
            pages.rule(at(from), at(to), 0.0);
        }
        pages.piece(Role::Paragraph);
        say(pages, c, REGULAR, z.body, 0.0, 18.0);
    }
    for w in who {
        pages.ensure(56.0 + z.body);
        pages.y -= 50.0;
        pages.rule([SIDE, pages.y], [SIDE + LINE * 0.7, pages.y], 0.0);
        pages.y -= 2.0;
        pages.piece(Role::Paragraph);
        say(pages, w, REGULAR, z.small, GRAY, 0.0);
    }
}

/// A text over the width of the page, from line to line and page to page.
fn say(pages: &mut Pages, text: &str, face: usize, size: f32, gray: f32, indent: f32) {
    let lines = pages.lines(text, face, size, LINE - indent);
    set(pages, &lines, face, size, gray, indent);
}

fn set(pages: &mut Pages, lines: &[String], face: usize, size: f32, gray: f32, indent: f32) {
    for line in lines {
        pages.ensure(size * 1.4);
        pages.text([SIDE + indent, pages.y - size * 1.05], face, size, gray, line);
        pages.y -= size * 1.4;
    }
    if lines.is_empty() {
        pages.y -= size * 1.4;
    }
}

fn table(caption: &str, head: &[String], rows: &[Vec<String>], z: &Sizes, pages: &mut Pages) {
    let widths = widths(head, rows, z.small, pages);
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    pages.ensure(z.small * 8.0);
    pages.holding(Role::Table, |pages| {
        pages.piece(Role::Caption);
        say(pages, caption, REGULAR, z.small, GRAY, 0.0);
        pages.y -= z.gap * 0.4;
        row(pages, &head, &widths, &Look::head(z));
        for r in rows {
            let cells: Vec<&str> = r.iter().map(String::as_str).collect();
            let page = pages.marks.len();
            let height = height(pages, &cells, &widths, z.small) + 6.0;
            if height < Pages::whole() {
                pages.ensure(height);
            }
            if pages.marks.len() > page {
                // Said again for eyes; whoever is read to has heard it.
                pages.decoration(|pages| set_row(pages, &head, &widths, &Look::head(z), false));
            }
            pages.rule([SIDE, pages.y - 1.0], [SIDE + LINE, pages.y - 1.0], RULE);
            pages.y -= 3.0;
            row(pages, &cells, &widths, &Look::body(z));
        }
    });
    pages.y -= z.gap * 1.5;
}

/// How the cells of a row look and what they are, the first and the others.
struct Look {
    faces: [usize; 2],
    grays: [f32; 2],
    size: f32,
    roles: [Role; 2],
}

impl Look {
    fn head(z: &Sizes) -> Self {
        let roles = [Role::Head(Heads::Column), Role::Head(Heads::Column)];
        Self { faces: [REGULAR; 2], grays: [GRAY; 2], size: z.small, roles }
    }

    fn body(z: &Sizes) -> Self {
        Self { faces: [BOLD, REGULAR], grays: [0.0; 2], size: z.small, roles: [Role::Head(Heads::Row), Role::Cell] }
    }

    fn pair(z: &Sizes) -> Self {
        let roles = [Role::Head(Heads::Row), Role::Cell];
        Self { faces: [REGULAR; 2], grays: [GRAY, 0.0], size: z.body, roles }
    }
}

const GUTTER: f32 = 8.0;

/// Widths of columns: each as wide as its widest cell where all fit, else its widest word and a share of the rest.
fn widths(head: &[String], rows: &[Vec<String>], size: f32, pages: &Pages) -> Vec<f32> {
    let face = &pages.faces[BOLD];
    let n = head.len().max(1);
    let cells = |i: usize| std::iter::once(&head[i]).chain(rows.iter().filter_map(move |r| r.get(i)));
    let word = |i: usize| {
        let words = cells(i).flat_map(|c| c.split(' '));
        words.map(|w| face.width(&face.shown(w), size)).fold(0.0, f32::max).min(LINE / n as f32 - GUTTER) + GUTTER
    };
    let least: Vec<f32> = (0..n).map(word).collect();
    let most: Vec<f32> = (0..n)
        .map(|i| cells(i).map(|c| face.width(&face.shown(c), size)).fold(0.0, f32::max).min(LINE * 0.9) + GUTTER)
        .collect();
    let (sum_least, sum_most) = (least.iter().sum::<f32>(), most.iter().sum::<f32>());
    if sum_most <= LINE {
        return most.iter().map(|w| w + (LINE - sum_most) / n as f32).collect();
    }
    let spread: f32 = (0..n).map(|i| (most[i] - least[i]).max(0.0)).sum();
    let rest = (LINE - sum_least).max(0.0);
    (0..n).map(|i| least[i] + rest * (most[i] - least[i]).max(0.0) / spread.max(1.0)).collect()
}

fn height(pages: &Pages, cells: &[&str], widths: &[f32], size: f32) -> f32 {
    let lines = cells.iter().zip(widths).map(|(c, w)| pages.lines(c, BOLD, size, w - GUTTER).len());
    lines.max().unwrap_or(0).max(1) as f32 * size * 1.4
}

/// A row of cells. It stays on one page where it fits one; else it goes on line by line.
fn row(pages: &mut Pages, cells: &[&str], widths: &[f32], look: &Look) {
    pages.holding(Role::Row, |pages| set_row(pages, cells, widths, look, true));
}

fn set_row(pages: &mut Pages, cells: &[&str], widths: &[f32], look: &Look, tagged: bool) {
    let (size, step) = (look.size, look.size * 1.4);
    let style = |i: usize| (look.faces[i.min(1)], look.grays[i.min(1)]);
    let broken: Vec<Vec<String>> =
        cells.iter().zip(widths).enumerate().map(|(i, (c, w))| pages.lines(c, style(i).0, size, w - GUTTER)).collect();
    let most = broken.iter().map(Vec::len).max().unwrap_or(0);
    let total = most as f32 * step;
    let begin = |pages: &mut Pages, i: usize| {
        if tagged {
            pages.piece(look.roles[i.min(1)].clone());
        }
    };
    if total < Pages::whole() {
        if tagged {
            pages.ensure(total);
        }
        let mut x = SIDE;
        for (i, lines) in broken.iter().enumerate() {
            begin(pages, i);
            for (k, line) in lines.iter().enumerate() {
                let (face, gray) = style(i);
                pages.text([x, pages.y - size * 1.05 - step * k as f32], face, size, gray, line);
            }
            x += widths[i];
        }
        pages.y -= total;
        return;
    }
    // A head that fills a page is not said again.
    for (i, lines) in broken.iter().enumerate().filter(|_| tagged) {
        begin(pages, i);
        let (face, gray) = style(i);
        set(pages, lines, face, size, gray, widths[..i].iter().sum());
    }
}
