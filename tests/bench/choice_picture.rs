//! The picture beside "How it decides": whether odds mean what they say, and what each way of deciding costs.

use crate::choice::{Told, cost, of_bins};
use pathproof::show::picture::{Anchor, Ink, Picture, Shape, WIDTH, to_svg};
use std::fmt::Write as _;

const TOP: f64 = 40.0;
const HIGH: f64 = 220.0;
const HEIGHT: f64 = 320.0;

/// What is drawn: sites by days watched, and the same watched for a week with a router's count besides.
pub(crate) struct Rows<'a> {
    pub(crate) week: &'a [Told],
    pub(crate) month: &'a [Told],
    pub(crate) counted: &'a [Told],
    /// For each site of `week` whether its kind alone is mostly good enough.
    pub(crate) by_kind: &'a dyn Fn(&Told) -> bool,
    pub(crate) caution: f64,
}

pub(crate) fn svg(r: &Rows<'_>) -> String {
    let mut p = Picture {
        title: "How often the odds are right".into(),
        description: String::new(),
        width: WIDTH,
        height: HEIGHT,
        shapes: Vec::new(),
        narrow: None,
    };
    let told = calibration(&mut p, r);
    let costs = losses(&mut p, r);
    p.description = format!("{told} {costs}");
    to_svg(&p).into_string()
}

fn text(p: &mut Picture, at: [f64; 2], anchor: Anchor, words: impl Into<String>) {
    p.shapes.push(Shape::Text(at, anchor, words.into()));
}

/// Left: odds told against the share that misses; on the slanting line they mean what they say.
fn calibration(p: &mut Picture, r: &Rows<'_>) -> String {
    const LEFT: f64 = 44.0;
    let at = |odds: f64, share: f64| [LEFT + HIGH * odds, TOP + HIGH * (1.0 - share)];
    text(p, [LEFT, 16.0], Anchor::Start, "Share of lines that miss it, by the odds told");
    for part in [0.0, 0.5, 1.0] {
        let ink = if part == 0.0 { Ink::Dark } else { Ink::Light };
        p.shapes.push(Shape::Line(vec![at(0.0, part), at(1.0, part)], 1.0, false, ink));
        text(p, [LEFT - 6.0, at(0.0, part)[1] + 4.0], Anchor::End, format!("{part}"));
        text(p, [at(part, 0.0)[0], TOP + HIGH + 18.0], Anchor::Middle, format!("{part}"));
    }
    p.shapes.push(Shape::Line(vec![at(0.0, 0.0), at(1.0, 1.0)], 1.2, true, Ink::Middling));
    let mut words = "Odds told, and the share of lines that then miss what is asked:".to_owned();
    for (rows, name, size, ink) in [(r.week, "7 d", 8.0, Ink::Dark), (r.month, "30 d", 6.0, Ink::Middling)] {
        for (odds, share, _) in of_bins(rows).into_iter().filter(|b| b.2 >= 0.01) {
            let [x, y] = at(odds, share);
            p.shapes.push(Shape::Block([x - size / 2.0, y - size / 2.0, size, size], ink));
            write!(words, " {name} {odds:.2} {share:.2};").expect("a string takes it");
        }
    }
    for (i, (name, size, ink)) in
        [("watched 7 d", 8.0, Ink::Dark), ("30 d", 6.0, Ink::Middling)].into_iter().enumerate()
    {
        let x = LEFT + 110.0 * i as f64;
        p.shapes.push(Shape::Block([x, TOP + HIGH + 36.0, size, size], ink));
        text(p, [x + 14.0, TOP + HIGH + 44.0], Anchor::Start, name);
    }
    words
}

/// Right: what each way of deciding costs per hundred lines after a week.
fn losses(p: &mut Picture, r: &Rows<'_>) -> String {
    const LEFT: f64 = 460.0;
    const WIDE: f64 = 140.0;
    let bars = [
        ("always a backup", cost(r.week, r.caution, |_| false)),
        ("none seen, so fine", cost(r.week, r.caution, |t| t.clean)),
        ("by the kind alone", cost(r.week, r.caution, r.by_kind)),
        ("what was seen alone", cost(r.week, r.caution, |t| t.shown)),
        ("these odds", cost(r.week, r.caution, |t| t.alone[2])),
        ("and a router's count", cost(r.counted, r.caution, |t| t.alone[2])),
    ];
    text(p, [330.0, 16.0], Anchor::Start, "Cost per 100 lines after a week");
    let most = bars.iter().map(|b| b.1).fold(1.0, f64::max);
    let mut words = format!(
        "Cost per 100 lines after a week, an unneeded backup as 1 and a line wrongly left alone as {}:",
        r.caution
    );
    for (i, (name, cost)) in bars.into_iter().enumerate() {
        let y = TOP + 6.0 + 37.0 * i as f64;
        let ink = if i < 4 { Ink::Light } else { Ink::Middling };
        p.shapes.push(Shape::Block([LEFT, y, WIDE * cost / most, 22.0], ink));
        text(p, [LEFT - 8.0, y + 15.0], Anchor::End, name);
        text(p, [LEFT + WIDE * cost / most + 5.0, y + 15.0], Anchor::Start, format!("{cost:.0}"));
        write!(words, " {name} {cost:.0};").expect("a string takes it");
    }
    words
}
