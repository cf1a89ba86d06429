//! Pages being filled: where the next line goes, and to which piece of the document it belongs (its tag).
//!
//! Decides page breaks at the level of lines. A tag that crosses a page is closed on the one and opened on the next.

use super::face::Face;
use pdf_writer::types::StructRole;
use pdf_writer::{Content, Name, Str};

/// Page size, points: A4's width (ISO 216) and Letter's height (ANSI/ASME Y14.1).
pub(super) const PAGE: [f32; 2] = [595.28, 792.0];
/// Left and right margin.
pub(super) const SIDE: f32 = 54.0;
const TOP: f32 = 50.0;
const BOTTOM: f32 = 54.0;
/// Width of a line.
pub(super) const LINE: f32 = PAGE[0] - 2.0 * SIDE;

/// Regular and bold, by their place in [`Pages::faces`].
pub(super) const REGULAR: usize = 0;
pub(super) const BOLD: usize = 1;

/// What a piece of the document is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Title,
    Heading(u8),
    Paragraph,
    Figure(String),
    /// Holds rows and, first, its caption.
    Table,
    Caption,
    /// Holds cells.
    Row,
    /// Heads its column, or its row.
    Head(Heads),
    Cell,
    /// Holds items.
    List,
    /// Holds its words.
    Item,
    Words,
}

/// What a cell is the head of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Heads {
    Column,
    Row,
}

/// A piece of the document, the piece it stands in, and where its own parts lie: page and mark.
pub(super) struct Piece {
    pub(super) role: Role,
    pub(super) within: Option<usize>,
    pub(super) parts: Vec<(usize, i32)>,
}

pub(super) struct Pages {
    pub(super) faces: [Face; 2],
    pub(super) done: Vec<Content>,
    pub(super) content: Content,
    /// Marks on each page, by piece.
    pub(super) marks: Vec<Vec<usize>>,
    pub(super) pieces: Vec<Piece>,
    /// Where the next line's top is, from the page's bottom.
    pub(super) y: f32,
    open: Option<usize>,
    /// Pieces that hold others and are not at their end.
    within: Vec<usize>,
    /// Whether nothing stands on the page yet.
    pub(super) empty: bool,
}

impl Pages {
    pub(super) fn new() -> Self {
        Self {
            faces: Face::both(),
            done: Vec::new(),
            content: Content::new(),
            marks: vec![Vec::new()],
            pieces: Vec::new(),
            y: PAGE[1] - TOP,
            open: None,
            within: Vec::new(),
            empty: true,
        }
    }

    /// How many points are left on the page.
    pub(super) fn left(&self) -> f32 {
        self.y - BOTTOM
    }

    /// How many points a whole page has.
    pub(super) fn whole() -> f32 {
        PAGE[1] - TOP - BOTTOM
    }

    /// Begins a page where less than `height` is left.
    pub(super) fn ensure(&mut self, height: f32) {
        if self.left() < height && !self.empty {
            self.turn();
        }
    }

    /// Begins a page.
    pub(super) fn turn(&mut self) {
        let open = self.open;
        self.close();
        self.done.push(std::mem::replace(&mut self.content, Content::new()));
        self.marks.push(Vec::new());
        self.y = PAGE[1] - TOP;
        self.empty = true;
        if let Some(piece) = open {
            self.mark(piece);
        }
    }

    /// Begins a piece of the document.
    pub(super) fn piece(&mut self, role: Role) {
        self.add(role);
        self.mark(self.pieces.len() - 1);
    }

    fn add(&mut self, role: Role) {
        self.close();
        self.pieces.push(Piece { role, within: self.within.last().copied(), parts: Vec::new() });
    }

    /// A piece that holds the pieces which `fill` makes and nothing besides.
    pub(super) fn holding(&mut self, role: Role, fill: impl FnOnce(&mut Self)) {
        self.add(role);
        self.within.push(self.pieces.len() - 1);
        fill(self);
        self.close();
        self.within.pop();
    }

    /// Decoration, outside any piece: `draw` must not turn the page.
    pub(super) fn decoration(&mut self, draw: impl FnOnce(&mut Self)) {
        self.close();
        self.content.begin_marked_content(Name(b"Artifact"));
        draw(self);
        self.content.end_marked_content();
    }

    fn mark(&mut self, piece: usize) {
        let page = self.marks.len() - 1;
        let id = self.marks[page].len() as i32;
        self.marks[page].push(piece);
        self.pieces[piece].parts.push((page, id));
        let tag = role(&self.pieces[piece].role).to_name();
        self.content.begin_marked_content_with_properties(tag).properties().identify(id);
        self.open = Some(piece);
    }

    /// Ends the piece, if one is open: what follows is decoration.
    pub(super) fn close(&mut self) {
        if self.open.take().is_some() {
            self.content.end_marked_content();
        }
    }

    /// A text with its baseline at `y`.
    pub(super) fn text(&mut self, [x, y]: [f32; 2], face: usize, size: f32, gray: f32, words: &str) {
        let bytes = self.faces[face].encode(words);
        self.content
            .begin_text()
            .set_font(Name(FONTS[face]), size)
            .set_fill_gray(gray)
            .set_text_matrix([1.0, 0.0, 0.0, 1.0, x, y])
            .show(Str(&bytes))
            .end_text();
        self.empty = false;
    }

    /// A decorating line, outside any piece.
    pub(super) fn rule(&mut self, from: [f32; 2], to: [f32; 2], gray: f32) {
        self.decoration(|p| {
            p.content.set_stroke_gray(gray).set_line_width(0.6);
            p.content.move_to(from[0], from[1]).line_to(to[0], to[1]).stroke();
        });
    }

    /// The text broken into lines no wider than `width`.
    pub(super) fn lines(&self, text: &str, face: usize, size: f32, width: f32) -> Vec<String> {
        let face = &self.faces[face];
        let mut out = Vec::new();
        let mut line = String::new();
        let mut used = 0.0;
        let space = face.width(" ", size);
        for word in face.shown(text).split(' ').filter(|w| !w.is_empty()) {
            let w = face.width(word, size);
            if !line.is_empty() && used + space + w <= width {
                line.push(' ');
                line.push_str(word);
                used += space + w;
                continue;
            }
            if !line.is_empty() {
                out.push(std::mem::take(&mut line));
            }
            // A word wider than the line is broken where the line ends.
            used = 0.0;
            for c in word.chars() {
                let one = face.width(c.encode_utf8(&mut [0; 4]), size);
                if used + one > width && !line.is_empty() {
                    out.push(std::mem::take(&mut line));
                    used = 0.0;
                }
                line.push(c);
                used += one;
            }
        }
        if !line.is_empty() {
            out.push(line);
        }
        out
    }
}

/// Names of the fonts in the pages' resources.
pub(super) const FONTS: [&[u8]; 2] = [b"F0", b"F1"];

/// The standard structure type of a role (ISO 32000-1, 14.8.4).
pub(super) const fn role(role: &Role) -> StructRole {
    match role {
        Role::Title => StructRole::H1,
        Role::Heading(0..=2) => StructRole::H2,
        Role::Heading(_) => StructRole::H3,
        Role::Paragraph => StructRole::P,
        Role::Figure(_) => StructRole::Figure,
        Role::Table => StructRole::Table,
        Role::Caption => StructRole::Caption,
        Role::Row => StructRole::TR,
        Role::Head(_) => StructRole::TH,
        Role::Cell => StructRole::TD,
        Role::List => StructRole::L,
        Role::Item => StructRole::LI,
        Role::Words => StructRole::LBody,
    }
}
