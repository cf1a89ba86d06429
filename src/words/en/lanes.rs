//! One name a lane for each reader, and what failed in one.

use crate::judge::{Lane, Outcome, Span};
use crate::words::LaneRow;

/// What a lane is called.
pub const fn row(lane: Lane) -> LaneRow {
    let (household, trade, text) = match lane {
        Lane::Power => ("Power at the network gear", "Power", "mains and this device's own life"),
        Lane::Link => ("Network lead", "Network lead", "the network lead"),
        Lane::Address => ("Place on the home network", "Address", "the address"),
        Lane::Router => ("Router", "Router", "the router"),
        Lane::Names => ("Looking up names", "Name lookup", "name lookups"),
        Lane::Outside => ("The internet", "Internet", "the reference points outside"),
        Lane::Receiver => ("The alarm station’s receiver", "Receiver", "the station's receiver"),
    };
    LaneRow { household, trade, text }
}

/// What failed inside a span, with counts; `None` where nothing did.
pub fn failures(span: &Span) -> Option<String> {
    if span.failures.is_empty() {
        return None;
    }
    let list: Vec<String> = span
        .failures
        .iter()
        .map(|(o, n)| {
            let word = if *o == Outcome::Answered { "answered with an error" } else { o.words() };
            format!("{n} × {word}")
        })
        .collect();
    Some(format!("{}: {}; {} answered in between", row(span.lane).text, list.join(", "), span.answers))
}
