//! One typeface: how wide its letters are, and the file to embed.
//!
//! Characters it lacks are shown as their code, so that no text vanishes. Of the embedded file only the letters used keep
//! their outlines; the others are blanked, which compresses to nothing.

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use ttf_parser::{Face as Parsed, GlyphId};

const REGULAR: &[u8] = include_bytes!("../../font/DejaVuSans.subset.ttf");
const BOLD: &[u8] = include_bytes!("../../font/DejaVuSans-Bold.subset.ttf");

/// A typeface and what was set in it.
pub(super) struct Face {
    pub(super) name: &'static str,
    bytes: &'static [u8],
    parsed: Parsed<'static>,
    /// Glyph and advance of the characters met so far; no glyph where the face lacks one.
    met: RefCell<HashMap<char, (Option<u16>, f32)>>,
    /// Letters used, by glyph.
    pub(super) used: BTreeMap<u16, char>,
}

impl Face {
    /// The two faces of a paper: regular and bold.
    pub(super) fn both() -> [Self; 2] {
        let face = |name, bytes| Self {
            name,
            bytes,
            parsed: Parsed::parse(bytes, 0).expect("the fonts are part of the program and a test parses them"),
            met: RefCell::default(),
            used: BTreeMap::new(),
        };
        [face("DejaVuSans", REGULAR), face("DejaVuSans-Bold", BOLD)]
    }

    /// The text in characters this face has.
    pub(super) fn shown(&self, text: &str) -> String {
        let lacks = |c: char| self.met(c).0.is_none();
        text.chars().fold(String::new(), |mut out, c| {
            if lacks(c) {
                out.extend(c.escape_unicode());
            } else {
                out.push(c);
            }
            out
        })
    }

    fn met(&self, c: char) -> (Option<u16>, f32) {
        *self.met.borrow_mut().entry(c).or_insert_with(|| {
            let glyph = self.parsed.glyph_index(c).map(|g| g.0);
            (glyph, self.advance(glyph.unwrap_or(0)))
        })
    }

    /// Advance of a glyph in thousandths of the size.
    pub(super) fn advance(&self, glyph: u16) -> f32 {
        let advance = self.parsed.glyph_hor_advance(GlyphId(glyph)).unwrap_or(0);
        f32::from(advance) * 1_000.0 / f32::from(self.parsed.units_per_em())
    }

    /// Width of a text at a size, points.
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        text.chars().map(|c| self.met(c).1).sum::<f32>() * size / 1_000.0
    }

    /// The text as two-byte glyph numbers; remembers what was used.
    pub(super) fn encode(&mut self, text: &str) -> Vec<u8> {
        let mut out = Vec::with_capacity(text.len() * 2);
        for c in text.chars() {
            let glyph = self.met(c).0.unwrap_or(0);
            self.used.entry(glyph).or_insert(c);
            out.extend(glyph.to_be_bytes());
        }
        out
    }

    /// Number of glyphs.
    pub(super) fn glyphs(&self) -> u16 {
        self.parsed.number_of_glyphs()
    }

    /// Box, ascent, descent and height of capitals, thousandths of the size.
    pub(super) fn measures(&self) -> ([f32; 4], f32, f32, f32) {
        let em = 1_000.0 / f32::from(self.parsed.units_per_em());
        let b = self.parsed.global_bounding_box();
        let bounds = [b.x_min, b.y_min, b.x_max, b.y_max].map(|x| f32::from(x) * em);
        let capitals = self.parsed.capital_height().unwrap_or(self.parsed.ascender());
        let [up, down, capitals] =
            [self.parsed.ascender(), self.parsed.descender(), capitals].map(|x| f32::from(x) * em);
        (bounds, up, down, capitals)
    }

    /// The file, with the outlines of unused glyphs blanked; all of it where its tables can't be read.
    pub(super) fn embedded(&self) -> Vec<u8> {
        let mut file = self.bytes.to_vec();
        let Some([glyf, loca, head]) = tables(&file) else { return file };
        let long = file.get(head.0 + 51) == Some(&1);
        let at = |file: &[u8], i: usize| -> Option<usize> {
            if long {
                let b = file.get(loca.0 + i * 4..loca.0 + i * 4 + 4)?;
                Some(u32::from_be_bytes([b[0], b[1], b[2], b[3]]) as usize)
            } else {
                let b = file.get(loca.0 + i * 2..loca.0 + i * 2 + 2)?;
                Some(usize::from(u16::from_be_bytes([b[0], b[1]])) * 2)
            }
        };
        let count = usize::from(self.glyphs());
        let spans: Option<Vec<(usize, usize)>> = (0..count).map(|i| Some((at(&file, i)?, at(&file, i + 1)?))).collect();
        let Some(spans) = spans else { return file };
        let mut kept = vec![false; count];
        let mut left: Vec<u16> = self.used.keys().copied().chain([0]).collect();
        while let Some(g) = left.pop() {
            let Some(seen) = kept.get_mut(usize::from(g)) else { continue };
            if !std::mem::replace(seen, true) {
                let (from, to) = spans[usize::from(g)];
                left.extend(parts(file.get(glyf.0 + from..glyf.0 + to).unwrap_or_default()));
            }
        }
        for (i, (from, to)) in spans.into_iter().enumerate() {
            if !kept[i]
                && let Some(outline) = file.get_mut(glyf.0 + from..glyf.0 + to)
            {
                outline.fill(0);
            }
        }
        file
    }
}

/// Where `glyf`, `loca` and `head` lie in a font file (OpenType 1.9, "Organization of an OpenType Font").
fn tables(file: &[u8]) -> Option<[(usize, usize); 3]> {
    let count = u16::from_be_bytes([*file.get(4)?, *file.get(5)?]);
    let find = |tag: &[u8]| {
        (0..usize::from(count)).find_map(|i| {
            let row = file.get(12 + i * 16..28 + i * 16)?;
            let word = |n: usize| u32::from_be_bytes([row[n], row[n + 1], row[n + 2], row[n + 3]]) as usize;
            (&row[..4] == tag).then(|| (word(8), word(12)))
        })
    };
    Some([find(b"glyf")?, find(b"loca")?, find(b"head")?])
}

/// Glyphs a composite outline is made of (OpenType 1.9, `glyf`, "Composite glyph description").
fn parts(outline: &[u8]) -> Vec<u16> {
    let short = |i: usize| Some(u16::from_be_bytes([*outline.get(i)?, *outline.get(i + 1)?]));
    let mut out = Vec::new();
    if short(0).is_none_or(|contours| contours & 0x8000 == 0) {
        return out;
    }
    let mut i = 10;
    while let (Some(flags), Some(glyph)) = (short(i), short(i + 2)) {
        out.push(glyph);
        let scale = if flags & 0x8 != 0 {
            2
        } else if flags & 0x40 != 0 {
            4
        } else if flags & 0x80 != 0 {
            8
        } else {
            0
        };
        i += 4 + if flags & 1 != 0 { 4 } else { 2 } + scale;
        if flags & 0x20 == 0 {
            break;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_face_lacks_is_shown_as_its_code() {
        let [regular, bold] = Face::both();
        assert_eq!(regular.shown("aé–± 日"), "aé–± \\u{65e5}");
        assert_eq!(bold.shown("Žи€"), "Žи€");
    }

    #[test]
    fn blanking_keeps_what_is_used_and_what_that_is_made_of() {
        let [mut face, _] = Face::both();
        face.encode("é");
        let cut = face.embedded();
        assert_eq!(cut.len(), REGULAR.len());
        let (whole, cut) = (Parsed::parse(REGULAR, 0).expect("parses"), Parsed::parse(&cut, 0).expect("parses"));
        let bounds = |f: &Parsed, c| f.glyph_bounding_box(f.glyph_index(c).expect("has it"));
        // é is made of e and the acute, so the e stays.
        for (c, stays) in [('é', true), ('e', true), ('x', false)] {
            assert_eq!(bounds(&cut, c) == bounds(&whole, c), stays, "{c}");
        }
    }
}
