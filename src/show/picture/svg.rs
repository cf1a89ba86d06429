//! A picture as SVG 1.1, to stand inside an HTML page: no style, no script, no reference, one ink that the page gives.

use super::{Anchor, Ink, LETTERS, Picture, Shape, hatching};
use maud::{Markup, html};
use std::fmt::Write as _;

/// The picture. Its description is the accessible name.
pub fn to_svg(p: &Picture) -> Markup {
    let size = format!("0 0 {} {}", round(p.width), round(p.height));
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(size) role="img" aria-label=(p.description)
            font-family="sans-serif" font-size=(LETTERS) fill="currentColor" stroke="none" {
            @for run in p.shapes.chunk_by(alike) { (drawn(run)) }
        }
    }
}

/// Whether two shapes can be one path.
fn alike(a: &Shape, b: &Shape) -> bool {
    match (a, b) {
        (Shape::Block(_, a), Shape::Block(_, b)) => a == b,
        (Shape::Hatched(_), Shape::Hatched(_)) => true,
        (Shape::Line(_, wide, dashed, ink), Shape::Line(_, w, d, i)) => (wide, dashed, ink) == (w, d, i),
        _ => false,
    }
}

fn drawn(run: &[Shape]) -> Markup {
    let d = run.iter().fold(String::new(), |d, s| d + &path(s));
    html! {
        @match &run[0] {
            Shape::Block(_, ink) => path d=(d) fill-opacity=(ink.share()) {},
            Shape::Hatched(_) => path d=(d) fill="none" stroke="currentColor" stroke-opacity=(Ink::Middling.share())
                stroke-width="0.8" {},
            Shape::Line(_, width, dashed, ink) => path d=(d) fill="none" stroke="currentColor"
                stroke-opacity=(ink.share()) stroke-width=(width) stroke-dasharray=[dashed.then_some("5 3")] {},
            Shape::Text([x, y], anchor, words) =>
                text x=(round(*x)) y=(round(*y)) text-anchor=(match anchor {
                    Anchor::Start => "start",
                    Anchor::Middle => "middle",
                    Anchor::End => "end",
                }) { (words) },
        }
    }
}

fn path(s: &Shape) -> String {
    match s {
        Shape::Block([x, y, w, h], _) => {
            format!("M{} {}h{}v{}h{}z", round(*x), round(*y), round(*w), round(*h), round(-w))
        }
        Shape::Hatched(at) => hatching(*at).into_iter().map(|line| through(&line)).collect(),
        Shape::Line(points, ..) => through(points),
        Shape::Text(..) => String::new(),
    }
}

/// A line through points, level and upright parts in short.
fn through(points: &[[f64; 2]]) -> String {
    let mut d = String::new();
    let mut before: Option<[f64; 2]> = None;
    for [x, y] in points.iter().map(|p| p.map(round)) {
        let same = |a: f64, b: f64| (a - b).abs() < 0.05;
        let _ = match before.map(|[bx, by]| (same(bx, x), same(by, y))) {
            None => write!(d, "M{x} {y}"),
            Some((true, true)) => Ok(()),
            Some((false, true)) => write!(d, "H{x}"),
            Some((true, false)) => write!(d, "V{y}"),
            Some((false, false)) => write!(d, "L{x} {y}"),
        };
        before = Some([x, y]);
    }
    d
}

/// To a tenth, so that the file is small and the same everywhere.
fn round(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
