//! Pictures for the papers: a few plain shapes, drawn the same in SVG and in print.
//!
//! Decides what is drawn where. Nothing is told by colour: everything is drawn in one ink, dark, middling or light, and
//! hatching means "not seen" or "not known". Every figure a picture shows stands in its description too.

mod axes;
mod axis;
mod cause;
mod delay;
mod delivery;
mod hours;
mod lanes;
mod over_time;
mod ride;
mod svg;
mod when;

pub use cause::cause;
pub use delay::delay;
pub use delivery::delivery;
pub use hours::hours;
pub use lanes::lanes;
pub use over_time::delay_over_time;
pub use ride::ride;
pub use svg::to_svg;
pub use when::{by_day, by_hour};

use serde::Serialize;

/// Width of a picture that fits a page, in its own units.
pub const WIDTH: f64 = 640.0;
/// Size of its letters.
pub const LETTERS: f64 = 12.0;

/// A picture. The shapes are for eyes; programs read the description.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Picture {
    /// What it shows.
    pub title: String,
    /// The same in words, with every figure.
    pub description: String,
    /// Width in its own units.
    #[serde(skip)]
    pub width: f64,
    /// Height likewise.
    #[serde(skip)]
    pub height: f64,
    /// What is drawn, the first undermost.
    #[serde(skip)]
    pub shapes: Vec<Shape>,
    /// The same drawn for a narrow screen, where it was.
    #[serde(skip)]
    pub narrow: Option<Box<Picture>>,
}

/// How dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// As text.
    Dark,
    /// Between.
    Middling,
    /// As a rule.
    Light,
}

impl Ink {
    /// Share of the ink, 0 to 1.
    pub const fn share(self) -> f64 {
        match self {
            Self::Dark => 1.0,
            Self::Middling => 0.55,
            Self::Light => 0.22,
        }
    }
}

/// Which point of a text its place is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its start.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// Something drawn. The origin is the top left corner; y grows downwards.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A filled rectangle: x, y, width, height.
    Block([f64; 4], Ink),
    /// A rectangle with slanting lines: not seen, or not known.
    Hatched([f64; 4]),
    /// A line through points, with its width and whether it is dashed.
    Line(Vec<[f64; 2]>, f64, bool, Ink),
    /// A text: x, baseline y, anchor, words.
    Text([f64; 2], Anchor, String),
}

impl Picture {
    fn new(title: impl Into<String>, description: impl Into<String>, height: f64) -> Self {
        let (title, description) = (title.into(), description.into());
        Self { title, description, width: WIDTH, height, shapes: Vec::new(), narrow: None }
    }

    /// The same with a drawing for narrow screens beside it.
    #[must_use]
    pub fn with_narrow(self, narrow: Option<Self>) -> Self {
        Self { narrow: narrow.map(Box::new), ..self }
    }

    fn block(&mut self, at: [f64; 4], ink: Ink) {
        self.shapes.push(Shape::Block(at, ink));
    }

    fn hatched(&mut self, at: [f64; 4]) {
        self.shapes.push(Shape::Hatched(at));
    }

    fn line(&mut self, points: impl Into<Vec<[f64; 2]>>, width: f64, ink: Ink) {
        self.shapes.push(Shape::Line(points.into(), width, false, ink));
    }

    fn dashed(&mut self, points: impl Into<Vec<[f64; 2]>>, ink: Ink) {
        self.shapes.push(Shape::Line(points.into(), 1.2, true, ink));
    }

    fn text(&mut self, at: [f64; 2], anchor: Anchor, words: impl Into<String>) {
        self.shapes.push(Shape::Text(at, anchor, words.into()));
    }
}

/// The slanting lines of a hatched rectangle, each from point to point, none outside it.
pub fn hatching([x, y, w, h]: [f64; 4]) -> Vec<[[f64; 2]; 2]> {
    const APART: f64 = 5.0;
    let mut out = Vec::new();
    let mut c = APART / 2.0;
    while c < w + h && out.len() < 1_000 {
        // The line from (c, 0) down to the left, cut at the rectangle's sides.
        let (x0, y0) = if c <= w { (c, 0.0) } else { (w, c - w) };
        let (x1, y1) = if c <= h { (0.0, c) } else { (c - h, h) };
        out.push([[x + x0, y + y0], [x + x1, y + y1]]);
        c += APART;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hatching_stays_inside() {
        for [w, h] in [[3.0, 40.0], [200.0, 12.0], [7.0, 7.0]] {
            let lines = hatching([10.0, 20.0, w, h]);
            assert!(!lines.is_empty());
            for p in lines.into_iter().flatten() {
                assert!((10.0..=10.0 + w).contains(&p[0]) && (20.0..=20.0 + h).contains(&p[1]), "{p:?}");
            }
        }
    }
}
