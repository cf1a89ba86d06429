//! How quickly each far end answered as the record went on: a strip for each, on one logarithmic scale.
//!
//! Decides what a step of a course looks like: mean and longest round trip as two lines, shaded where it was asked and
//! nothing came back, hatched where it was not asked.

use super::axis;
use super::{Anchor, Ink, Picture, WIDTH};
use crate::judge::course::STEPS;
use crate::show::columns::fit;
use crate::show::say::picture as say;
use crate::show::words::{millis, safe};
use crate::snapshot::{CourseView, Snapshot, TargetView};
use jiff::tz::TimeZone;

const LEFT: f64 = 250.0;
const TOP: f64 = 10.0;
/// Height of a strip, and of the room beneath it.
const STRIP: f64 = 40.0;
const BETWEEN: f64 = 14.0;
/// Most strips: a page.
const MOST: usize = 10;

/// What is drawn of one far end: mean and longest of each step, where it was timed, and whether it was asked.
struct Strip<'a> {
    of: &'a TargetView,
    step_s: f64,
    steps: Vec<Step>,
}

#[derive(Clone, Copy, PartialEq)]
enum Step {
    NotAsked,
    Unanswered,
    Timed { mean: f64, most: f64 },
}

/// The strips; `None` where no time was taken.
pub fn delay_over_time(s: &Snapshot, zone: &TimeZone) -> Option<Picture> {
    let elapsed = s.watch.elapsed_s;
    if !(elapsed > 0.0 && elapsed.is_finite()) {
        return None;
    }
    let all: Vec<Strip> = s.targets.iter().filter_map(|t| strip(t, t.course.as_ref()?, elapsed)).collect();
    let timed = |f: fn(f64, f64) -> f64, which: fn(&Step) -> Option<f64>| {
        all.iter().take(MOST).flat_map(|x| x.steps.iter().filter_map(which)).reduce(f)
    };
    let least = timed(f64::min, |x| if let Step::Timed { mean, .. } = x { Some(*mean) } else { None })?;
    let most = timed(f64::max, |x| if let Step::Timed { most, .. } = x { Some(*most) } else { None })?;
    let low = 10f64.powf(least.max(0.01).log10().floor());
    let ends = [low, 10f64.powf(most.max(low * 10.0).log10().ceil())];
    let told = all.iter().take(MOST).map(told);
    let told = say::delays_over_time(told, all.len().saturating_sub(MOST), ends.map(say::round_delay));
    let count = all.len().min(MOST) as f64;
    let bottom = TOP + (STRIP + BETWEEN) * count - BETWEEN;
    let mut p = Picture::new(say::DELAY_OVER_TIME, told, bottom + 40.0);
    let width = WIDTH - LEFT - 8.0;
    for t in axis::ticks(s, zone, 6) {
        let x = LEFT + width * t.at_s / elapsed;
        p.line([[x, TOP], [x, bottom + 4.0]], 1.0, Ink::Light);
        let anchor = if x > WIDTH - 30.0 { Anchor::End } else { Anchor::Middle };
        p.text([x, bottom + 18.0], anchor, t.label);
        if let Some(day) = t.day {
            p.text([x, bottom + 33.0], anchor, day);
        }
    }
    for (i, x) in all.iter().take(MOST).enumerate() {
        let top = TOP + (STRIP + BETWEEN) * i as f64;
        let name = format!("{} {}", safe(&x.of.question), safe(&x.of.target));
        p.text([0.0, top + STRIP / 2.0 + 4.0], Anchor::Start, fit(&name, 30));
        for (end, y) in [(ends[1], top + 10.0), (ends[0], top + STRIP)] {
            p.text([LEFT - 6.0, y], Anchor::End, say::round_delay(end));
        }
        p.line([[LEFT, top + STRIP], [LEFT + width, top + STRIP]], 1.0, Ink::Light);
        draw(&mut p, x, top, ends, [width, elapsed]);
    }
    Some(p)
}

fn strip<'a>(t: &'a TargetView, c: &CourseView, elapsed: f64) -> Option<Strip<'a>> {
    let sound = |ms: Option<f64>| ms.filter(|ms| ms.is_finite() && *ms >= 0.0);
    let mut steps: Vec<Step> = c
        .asked
        .iter()
        .zip(c.mean_ms.iter().zip(&c.most_ms))
        .map(|(asked, (mean, most))| match (sound(*mean), sound(*most)) {
            (Some(mean), Some(most)) => Step::Timed { mean, most },
            _ if *asked > 0 => Step::Unanswered,
            _ => Step::NotAsked,
        })
        .collect();
    if !(c.step_s > 0.0 && c.step_s.is_finite() && steps.iter().any(|x| matches!(x, Step::Timed { .. }))) {
        return None;
    }
    // A course ends with the last question, the record may go on.
    let whole = ((elapsed / c.step_s) as usize).min(STEPS);
    steps.resize(whole.max(steps.len()), Step::NotAsked);
    Some(Strip { of: t, step_s: c.step_s, steps })
}

fn draw(p: &mut Picture, strip: &Strip, top: f64, [low, high]: [f64; 2], [width, elapsed]: [f64; 2]) {
    let x = |step: usize| LEFT + width * (strip.step_s * step as f64 / elapsed).clamp(0.0, 1.0);
    let y = |ms: f64| top + STRIP * (1.0 - ((ms.max(low) / low).ln() / (high / low).ln()).clamp(0.0, 1.0));
    let mut from = 0;
    for run in strip.steps.chunk_by(|a, b| std::mem::discriminant(a) == std::mem::discriminant(b)) {
        let (x0, x1) = (x(from), x(from + run.len()));
        match run[0] {
            Step::NotAsked => p.hatched([x0, top, x1 - x0, STRIP]),
            Step::Unanswered => p.block([x0, top, (x1 - x0).max(1.0), STRIP], Ink::Light),
            Step::Timed { .. } => {
                let line = |which: fn(f64, f64) -> f64| {
                    let of = run.iter().enumerate().filter_map(|(n, step)| match step {
                        Step::Timed { mean, most } => Some((n, which(*mean, *most))),
                        _ => None,
                    });
                    of.flat_map(|(n, ms)| [[x(from + n), y(ms)], [x(from + n + 1), y(ms)]]).collect::<Vec<_>>()
                };
                p.line(line(|_, most| most), 0.9, Ink::Middling);
                p.line(line(|mean, _| mean), 1.6, Ink::Dark);
            }
        }
        from += run.len();
    }
}

/// The strip in words: what its lines reach, and how much of it is shaded or hatched.
fn told(strip: &Strip) -> String {
    let of = |f: fn(f64, f64) -> f64, which: fn(&Step) -> Option<f64>| {
        strip.steps.iter().filter_map(which).reduce(f).map(millis).unwrap_or_default()
    };
    let mean: fn(&Step) -> Option<f64> = |x| if let Step::Timed { mean, .. } = x { Some(*mean) } else { None };
    let most: fn(&Step) -> Option<f64> = |x| if let Step::Timed { most, .. } = x { Some(*most) } else { None };
    let count = |is: Step| strip.steps.iter().filter(|x| **x == is).count() as f64 * strip.step_s;
    say::delay_over_time_of(
        &format!("{} {}", safe(&strip.of.question), safe(&strip.of.target)),
        &[of(f64::min, mean), of(f64::max, mean), of(f64::max, most)],
        strip.step_s,
        [count(Step::Unanswered), count(Step::NotAsked)],
    )
}
