//! A picture as SVG 1.1, to stand inside an HTML page: no style, no script, no reference, one ink that the page gives.

use super::{Anchor, Ink, LETTERS, Picture, Shape, WIDTH, hatching};
use maud::{Markup, html};

/// The picture. Its description is the accessible name.
pub fn to_svg(p: &Picture) -> Markup {
    let size = format!("0 0 {WIDTH} {}", round(p.height));
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(size) role="img" aria-label=(p.description)
            font-family="sans-serif" font-size=(LETTERS) fill="currentColor" stroke="none" {
            @for s in &p.shapes { (shape(s)) }
        }
    }
}

fn shape(s: &Shape) -> Markup {
    html! {
        @match s {
            Shape::Block([x, y, w, h], ink) =>
                rect x=(round(*x)) y=(round(*y)) width=(round(*w)) height=(round(*h)) fill-opacity=(ink.share()) {},
            Shape::Hatched(at) => {
                path d=(hatch(*at)) fill="none" stroke="currentColor" stroke-opacity=(Ink::Middling.share())
                    stroke-width="0.8" {}
            }
            Shape::Line(points, width, dashed, ink) =>
                path d=(through(points)) fill="none" stroke="currentColor" stroke-opacity=(ink.share())
                    stroke-width=(width) stroke-dasharray=[dashed.then_some("5 3")] {},
            Shape::Text([x, y], anchor, words) =>
                text x=(round(*x)) y=(round(*y)) text-anchor=(match anchor {
                    Anchor::Start => "start",
                    Anchor::Middle => "middle",
                    Anchor::End => "end",
                }) { (words) },
        }
    }
}

fn hatch(at: [f64; 4]) -> String {
    hatching(at).into_iter().map(|line| through(&line)).collect()
}

fn through(points: &[[f64; 2]]) -> String {
    let step =
        |(i, [x, y]): (usize, &[f64; 2])| format!("{}{} {}", if i == 0 { "M" } else { "L" }, round(*x), round(*y));
    points.iter().enumerate().map(step).collect()
}

/// To a hundredth, so that the file is small and the same everywhere.
fn round(x: f64) -> f64 {
    (x * 100.0).round() / 100.0
}
