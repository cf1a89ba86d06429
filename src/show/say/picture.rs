//! Titles and descriptions of pictures. A description holds every figure its picture shows.

use super::and;
use crate::show::words::span;

/// Title.
pub const LANES: &str = "The path, layer by layer, over the whole record";
/// Title.
pub const BY_HOUR: &str = "Outages by the hour of the day they began in";
/// Title.
pub const BY_DAY: &str = "Outages by the day they began on";
/// Title.
pub const DELIVERY: &str = "Alarms that would not have got through, against the time they have";
/// Title.
pub const HOURS: &str = "Hours a year without a signal path";
/// Title.
pub const RIDE: &str = "How long each box on the path runs without mains";
/// Title.
pub const DELAY: &str = "How quickly each far end answered";
/// Title.
pub const CAUSE: &str = "Explanations of the longest outage";

/// Title.
pub const DELAY_OVER_TIME: &str = "How quickly each far end answered as time went on";

/// Name of the axis.
pub const DELIVERY_AXIS: &str = "of 1000 alarms";
/// Row.
pub const IP_ALONE: &str = "IP alone";
/// Row.
pub const WITH_CELLULAR: &str = "With cellular";
/// Row.
pub const SOMETHING_ELSE: &str = "something else";
/// In place of a bar.
pub const RIDE_NONE: &str = "not at all";
/// In place of a bar.
pub const RIDE_NOT_KNOWN: &str = "not known";
/// Days of the week, Monday first (ISO 8601).
pub const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// One lane: seconds answering, in part, not, not seen.
pub fn lane(name: &str, [good, part, bad, blind]: &[f64; 4]) -> String {
    let told = [("in order", good), ("in part", part), ("not", bad), ("not seen", blind)];
    let told: Vec<String> = told.iter().filter(|t| *t.1 >= 0.05).map(|(w, s)| format!("{w} {}", span(**s))).collect();
    format!("{name}: {}", and(&told))
}

/// Beside the troubles of the lanes.
pub const TROUBLES: &str = "Troubles";
/// What the lanes are drawn with, in the order of the legend.
pub const KEYS: [&str; 7] =
    ["in order", "in part", "not in order", "not seen", "too brief to draw", "outage", "other trouble"];

/// All lanes.
pub fn lanes(told: impl Iterator<Item = String>) -> String {
    format!(
        "A high line is in order, a low thick one is not, hatching is where nobody could look. Troubles stand beneath by number; brackets show how exactly an edge is known. {}.",
        told.collect::<Vec<_>>().join("; ")
    )
}

fn counts(told: &[(String, usize)]) -> String {
    let told: Vec<String> = told.iter().filter(|t| t.1 > 0).map(|(w, n)| format!("{w}: {n}")).collect();
    told.join(", ")
}

/// By hour.
pub fn by_hour(told: &[(String, usize)]) -> String {
    format!("Outages that began in the hour from: {}. None in the other hours.", counts(told))
}

/// By day.
pub fn by_day(told: &[(String, usize)]) -> String {
    format!("Outages that began on: {}. None on the other days.", counts(told))
}

/// The curve.
pub fn delivery(told: impl Iterator<Item = (String, String, String)>, seen_s: f64) -> String {
    let told: Vec<String> = told
        .map(|(t, best, worst)| if best == worst { format!("{t}: {worst}") } else { format!("{t}: {best} to {worst}") })
        .collect();
    format!(
        "Of 1000 alarms raised at random moments in the {} seen, so many would not have got through within: {}. The full line is the worst that edges and unseen time allow; a dashed one, where it differs, the best.",
        span(seen_s),
        told.join(", ")
    )
}

/// One bar.
pub fn hours_of(name: &str, middle: &str, low: &str, high: &str) -> String {
    format!("{name}: about {middle}, between {low} and {high}")
}

/// Beside a bar.
pub fn hours_label(middle: &str, low: &str, high: &str) -> String {
    format!("{middle} ({low} to {high})")
}

/// The two bars.
pub fn hours(told: &[String]) -> String {
    format!(
        "Hours a year to expect, if the year is like what was watched. {}. The odds are about 9 in 10 that the truth lies between the marks.",
        told.join("; ")
    )
}

/// A box.
pub fn ride_measured(time: &str) -> String {
    format!("{time}, measured")
}

/// A box.
pub fn ride_worked_out(time: &str) -> String {
    format!("{time} at the most, worked out")
}

/// A box.
pub fn ride_breaks(why: &str) -> String {
    format!("not at all ({why})")
}

/// A box.
pub fn ride_unknown(why: &str) -> String {
    format!("not known ({why})")
}

/// The chain.
pub fn ride(told: &[String], needed: Option<&str>) -> String {
    let needed = needed.map_or("How long is needed is not in the site file".to_owned(), |n| {
        format!("The dashed line is what is needed, {n}")
    });
    format!("{}. {needed}. The shortest decides.", told.join("; "))
}

/// A mark of the axis.
pub fn hours_short(n: &str) -> String {
    format!("{n} h")
}

/// One far end.
pub fn delay_of(name: &str, [least, half, most95, most]: [String; 4]) -> String {
    format!("{name}: quickest {least}, half within {half}, 95 in 100 within {most95}, slowest {most}")
}

/// All far ends.
pub fn delays(told: impl Iterator<Item = String>) -> String {
    format!(
        "The bar ends where 95 in 100 answers were there, the thick mark is half of them, the line goes on to the slowest. {}.",
        told.collect::<Vec<_>>().join("; ")
    )
}

/// One far end as time went on: least and greatest mean of a step, longest; seconds of steps without an answer, and not
/// asked.
pub fn delay_over_time_of(
    name: &str,
    [least, greatest, longest]: &[String; 3],
    step_s: f64,
    [unanswered_s, unasked_s]: [f64; 2],
) -> String {
    let of = |what: &str, s: f64| if s > 0.0 { format!(", {what} for {}", span(s)) } else { String::new() };
    let mean = if least == greatest { least.clone() } else { format!("between {least} and {greatest}") };
    format!(
        "{name}, in steps of {}: mean of a step {mean}, longest {longest}{}{}",
        span(step_s),
        of("without an answer", unanswered_s),
        of("not asked", unasked_s)
    )
}

/// All far ends as time went on.
pub fn delays_over_time(told: impl Iterator<Item = String>, left_out: usize, [low, high]: [String; 2]) -> String {
    let more = if left_out > 0 { format!(" {left_out} more are not drawn.") } else { String::new() };
    format!(
        "Each strip reaches from {low} at its foot to {high} at its top, on a logarithmic scale. The dark line is the mean of a step, the grey one the longest answer in it. Shaded: asked, and nothing came back. Hatched: not asked. {}.{more}",
        told.collect::<Vec<_>>().join("; ")
    )
}

/// A round delay in milliseconds.
pub fn round_delay(ms: f64) -> String {
    if ms >= 1_000.0 {
        format!("{:.0} s", ms / 1_000.0)
    } else if ms >= 1.0 {
        format!("{ms:.0} ms")
    } else {
        format!("{ms} ms")
    }
}

/// Explanations.
pub fn cause(number: u32, told: impl Iterator<Item = String>, yes: &[String], no: &[String]) -> String {
    let list =
        |what: &str, l: &[String]| if l.is_empty() { String::new() } else { format!(" {what}: {}.", l.join("; ")) };
    format!(
        "How likely each explanation of trouble {number} is, a first estimate. {}.{}{}",
        told.collect::<Vec<_>>().join("; "),
        list("For the first", yes),
        list("Against it", no)
    )
}
