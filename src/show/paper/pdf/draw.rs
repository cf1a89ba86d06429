//! A picture's shapes on a page, in the same places as in SVG.

use super::pages::{FONTS, Pages, REGULAR, SIDE};
use crate::show::picture::{Anchor, Ink, LETTERS, Picture, Shape, hatching};
use pdf_writer::{Name, Str};

/// Draws the picture with its top at the pages' place. Moves nothing.
pub(super) fn draw(pages: &mut Pages, p: &Picture, scale: f32) {
    let top = pages.y;
    let at = |[x, y]: [f64; 2]| [SIDE + x as f32 * scale, top - y as f32 * scale];
    for s in &p.shapes {
        match s {
            Shape::Block([x, y, w, h], ink) => {
                let [x, y] = at([*x, y + h]);
                pages.content.set_fill_gray(gray(*ink));
                pages.content.rect(x, y, *w as f32 * scale, *h as f32 * scale).fill_nonzero();
            }
            Shape::Hatched(place) => {
                pages.content.set_stroke_gray(gray(Ink::Middling)).set_line_width(0.8 * scale);
                for [from, to] in hatching(*place) {
                    let ([x0, y0], [x1, y1]) = (at(from), at(to));
                    pages.content.move_to(x0, y0).line_to(x1, y1);
                }
                pages.content.stroke();
            }
            Shape::Line(points, width, dashed, ink) => {
                pages.content.set_stroke_gray(gray(*ink)).set_line_width(*width as f32 * scale);
                if *dashed {
                    pages.content.set_dash_pattern([5.0 * scale, 3.0 * scale], 0.0);
                }
                for (i, point) in points.iter().enumerate() {
                    let [x, y] = at(*point);
                    if i == 0 {
                        pages.content.move_to(x, y)
                    } else {
                        pages.content.line_to(x, y)
                    };
                }
                pages.content.stroke();
                if *dashed {
                    pages.content.set_dash_pattern([], 0.0);
                }
            }
            Shape::Text(place, anchor, words) => text(pages, at(*place), *anchor, words, LETTERS as f32 * scale),
        }
    }
}

fn text(pages: &mut Pages, [x, y]: [f32; 2], anchor: Anchor, words: &str, size: f32) {
    let words = pages.faces[REGULAR].shown(words);
    let width = pages.faces[REGULAR].width(&words, size);
    let x = match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - width / 2.0,
        Anchor::End => x - width,
    };
    let bytes = pages.faces[REGULAR].encode(&words);
    let content = &mut pages.content;
    content.begin_text().set_font(Name(FONTS[REGULAR]), size).set_fill_gray(0.0);
    content.set_text_matrix([1.0, 0.0, 0.0, 1.0, x, y]).show(Str(&bytes)).end_text();
}

const fn gray(ink: Ink) -> f32 {
    1.0 - ink.share() as f32
}
