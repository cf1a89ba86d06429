//! Round trips and losses over time, target by target, beneath the timing diagram and for the same part of the record.
//!
//! Two lines over a scale of decades (mean and longest round trip of each step) and, hanging from a base line, what went
//! unanswered. Where nothing was asked both lines and the base line pause. One drawing serves every width: it is
//! stretched, its words stand beside it. The same in figures stands beneath each, for who does not see it.

use super::Window;
use crate::judge::Lane;
use crate::show::words::{self, Clock, millis, safe, span};
use crate::snapshot::{CourseView, Snapshot, TargetView};
use maud::{Markup, html};
use std::fmt::Write as _;
use std::ops::Range;

/// Drawings stop here; a page must stay small, bytes.
const MOST_BYTES: usize = 26_000;
/// What was asked less often than this in the part shown has no course worth drawing.
const SELDOM: u64 = 12;
/// Height of the round trips' drawing, in its own units.
const HEIGHT: f64 = 200.0;

/// The courses of every target that was timed; `None` where there is none.
pub(super) fn courses(s: &Snapshot, w: Window, clock: &Clock<'_>) -> Option<Markup> {
    let mut drawn = Vec::new();
    let (mut bytes, mut left_out) = (0, 0);

    // Of the lanes that answer questions.
    let timed = [Lane::Router, Lane::Names, Lane::Outside, Lane::Receiver];
    for t in s.targets.iter().filter(|t| timed.contains(&t.lane)) {
        let Some(drawing) = t.course.as_ref().and_then(|c| one(t, c, w)) else { continue };
        let text = drawing.into_string();
        if bytes + text.len() > MOST_BYTES {
            left_out += 1;
            continue;
        }
        bytes += text.len();
        drawn.push(maud::PreEscaped(text));
    }
    let step = s.targets.iter().filter_map(|t| t.course.as_ref()).map(|c| c.step_s).reduce(f64::max)?;
    (!drawn.is_empty()).then(|| {
        html! {
            p class="small" {
                "From " (clock.at(w.from_s)) " to " (clock.at(w.to_s)) ", in steps of " (span(step)) " or less. Upper line: the longest round "
                "trip of each step; lower line: the mean. Strokes hanging from the base line: the share unanswered, to the foot where it is "
                "all. A pause in the lines: nothing was asked."
            }
            @for d in &drawn { (d) }
            @if left_out > 0 {
                p { (words::count(left_out, "other target is", "other targets are")) " not drawn here; their courses are in the API." }
            }
        }
    })
}

/// The steps that reach into the window.
fn within(c: &CourseView, w: Window) -> Option<Range<usize>> {
    let all = c.asked.len().min(c.answered.len()).min(c.mean_ms.len()).min(c.most_ms.len());
    if !(c.step_s > 0.0 && c.step_s.is_finite()) {
        return None;
    }
    let from = (w.from_s / c.step_s).floor().max(0.0) as usize;
    let to = ((w.to_s / c.step_s).ceil().max(0.0) as usize).min(all);
    (from < to).then_some(from..to)
}

fn one(t: &TargetView, c: &CourseView, w: Window) -> Option<Markup> {
    let range = within(c, w)?;
    let sound = |ms: &Option<f64>| ms.filter(|ms| ms.is_finite() && *ms > 0.0);
    let (asked, answered) = (&c.asked[range.clone()], &c.answered[range.clone()]);
    let mean: Vec<Option<f64>> = c.mean_ms[range.clone()].iter().map(sound).collect();
    let most: Vec<Option<f64>> = c.most_ms[range.clone()].iter().map(sound).collect();
    let total: u64 = asked.iter().map(|n| u64::from(*n)).sum();
    if total < SELDOM {
        return None;
    }
    let got: u64 = answered.iter().map(|n| u64::from(*n)).sum::<u64>().min(total);
    let least_mean = mean.iter().flatten().copied().reduce(f64::min);
    let most_mean = mean.iter().flatten().copied().reduce(f64::max);
    let longest = most.iter().flatten().copied().reduce(f64::max);
    let scale = least_mean.zip(longest).map(|(low, high)| Decades::over(low, high));
    let width = range.len();
    let said = match (least_mean, most_mean, longest) {
        (Some(a), Some(b), Some(l)) => {
            format!("Mean between {} and {}, longest {}.", millis(a), millis(b), millis(l))
        }
        _ => "No answer in this part.".to_owned(),
    };
    let lost = if got == total {
        format!("All {total} questions answered.")
    } else {
        // No share of them: it is asked closer while nothing comes back.
        format!("{} of {total} questions unanswered.", total - got)
    };
    Some(html! {
        figure class="course" {
            figcaption {
                strong { (words::capital(&safe(&t.question))) ", " (safe(&t.target)) } " " (said) " " (lost)
            }
            @if let Some(scale) = scale {
                div class="drawn" aria-hidden="true" {
                    div class="scale" { @for label in scale.labels() { span { (label) } } }
                    svg class="trips" viewBox=(format!("0 0 {width} {HEIGHT}")) preserveAspectRatio="none" focusable="false" {
                        path class="grid" d=(scale.grid(width)) {}
                        path class="longest" d=(line(&most, &scale)) {}
                        path class="mean" d=(line(&mean, &scale)) {}
                    }
                }
            }
            div class="drawn" aria-hidden="true" {
                div class="scale foot" { span { "lost" } }
                svg class="losses" viewBox=(format!("0 0 {width} 100")) preserveAspectRatio="none" focusable="false" {
                    path class="base" d=(base(asked)) {}
                    path class="lost" d=(stems(asked, answered)) {}
                }
            }
        }
    })
}

/// A scale of whole decades of milliseconds.
struct Decades {
    low: i32,
    high: i32,
}

impl Decades {
    fn over(low: f64, high: f64) -> Self {
        let low = (low.log10().floor() as i32).clamp(-4, 8);
        Self { low, high: (high.log10().ceil() as i32).clamp(low + 1, 9) }
    }

    fn y(&self, ms: f64) -> i64 {
        let share = (ms.log10() - f64::from(self.low)) / f64::from(self.high - self.low);
        (HEIGHT * (1.0 - share.clamp(0.0, 1.0))).round() as i64
    }

    /// Highest first, one a decade.
    fn labels(&self) -> Vec<String> {
        (self.low..=self.high)
            .rev()
            .map(|d| match d {
                d if d >= 3 => format!("{} s", 10f64.powi(d - 3)),
                d => format!("{} ms", 10f64.powi(d)),
            })
            .collect()
    }

    fn grid(&self, width: usize) -> String {
        (self.low..=self.high).fold(String::new(), |mut d, decade| {
            let _ = write!(d, "M0 {}H{width}", self.y(10f64.powi(decade)));
            d
        })
    }
}

/// A step line; where there is no value it pauses.
fn line(values: &[Option<f64>], scale: &Decades) -> String {
    let mut d = String::new();
    let mut at: Option<i64> = None;
    for (x, value) in values.iter().enumerate() {
        let y = value.map(|ms| scale.y(ms));
        match (at, y) {
            (Some(before), Some(y)) if before == y => d.push_str("h1"),
            (Some(before), Some(y)) => {
                let _ = write!(d, "v{}h1", y - before);
            }
            (None, Some(y)) => {
                let _ = write!(d, "M{x} {y}h1");
            }
            (_, None) => {}
        }
        at = y;
    }
    d
}

/// The base line, where something was asked.
fn base(asked: &[u32]) -> String {
    let mut d = String::new();
    let mut from = None;
    for (x, n) in asked.iter().chain([&0]).enumerate() {
        match (from, *n > 0) {
            (None, true) => from = Some(x),
            (Some(start), false) => {
                let _ = write!(d, "M{start} 1H{x}");
                from = None;
            }
            _ => {}
        }
    }
    d
}

/// What went unanswered, hanging from the base line: a hundred units are all of a step.
fn stems(asked: &[u32], answered: &[u32]) -> String {
    let mut d = String::new();
    for (x, (asked, answered)) in asked.iter().zip(answered).enumerate() {
        let lost = asked.saturating_sub(*answered);
        if lost > 0 {
            // The least loss is still seen.
            let depth = (100.0 * f64::from(lost) / f64::from(*asked)).round().max(6.0);
            let _ = write!(d, "M{x} 0v{depth}h1V0z");
        }
    }
    d
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_pause_where_nothing_was_timed_and_stems_hang_where_something_was_lost() {
        let scale = Decades::over(2.0, 90.0);
        assert_eq!((scale.low, scale.high), (0, 2));
        assert_eq!(scale.labels(), ["100 ms", "10 ms", "1 ms"]);
        assert_eq!(scale.y(10.0), 100);
        assert_eq!(line(&[Some(10.0), Some(10.0), None, Some(100.0), Some(1.0)], &scale), "M0 100h1h1M3 0h1v200h1");
        assert_eq!(base(&[1, 1, 0, 2]), "M0 1H2M3 1H4");
        assert_eq!(stems(&[4, 0, 100, 100], &[2, 0, 100, 99]), "M0 0v50h1V0zM3 0v6h1V0z");
    }

    #[test]
    fn a_window_takes_the_steps_it_touches() {
        let c = CourseView {
            step_s: 10.0,
            asked: vec![1; 6],
            answered: vec![1; 6],
            mean_ms: vec![None; 6],
            most_ms: vec![None; 6],
        };
        assert_eq!(within(&c, Window { from_s: 15.0, to_s: 31.0 }), Some(1..4));
        assert_eq!(within(&c, Window { from_s: 0.0, to_s: 900.0 }), Some(0..6));
        assert_eq!(within(&c, Window { from_s: 90.0, to_s: 91.0 }), None);
    }
}
