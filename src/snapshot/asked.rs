//! Requirements in words: what is asked, what was measured. No percentage at all: shares are told as times and counts.

use super::{Requirement, figures, odds, words};
use crate::judge::requirement::{Ask, Held, Measured};
use crate::judge::{Judgement, Micros};

/// What is asked, as what follows "it asks for".
pub(super) fn asks(ask: &Ask) -> String {
    let length = |s: f64| Micros((s * 1e6) as i64);
    match ask {
        Ask::Coverage { at_least } => format!("watching at least {:.0} of every 100 hours", at_least * 100.0),
        Ask::Availability { at_least, sure } => format!(
            "a path down at most {} in 30 days, in the long run, and {} to be sure of it",
            length((1.0 - at_least) * 30.0 * 86_400.0),
            odds(*sure)
        ),
        Ask::LongOutages { longer_than_s, at_most, per_days, sure } => format!(
            "at most {} longer than {} in {per_days:.0} days, in the long run, and {} to be sure of it",
            if (*at_most - 1.0).abs() < 1e-9 { "one outage".to_owned() } else { format!("{at_most} outages") },
            length(*longer_than_s),
            odds(*sure)
        ),
        Ask::Delivery { within_s, at_least, sure } => format!(
            "at least {:.0} of 1000 alarms, raised at random moments, getting through within {} (or what the site file says), in the long run, and {} to be sure of it",
            at_least * 1000.0,
            length(*within_s),
            odds(*sure)
        ),
        Ask::Supervision { interval_s } => format!(
            "no outage longer than the station's supervision interval (the site file's, else {})",
            length(*interval_s)
        ),
    }
}

/// What was measured, over the time `watched`.
pub(super) fn measured(h: &Held, watched: Micros) -> String {
    let length = |s: f64| Micros((s * 1e6) as i64);
    let in_all = words::days(watched);
    match &h.measured {
        Measured::Coverage(share) => format!("watched {} of every 100 hours since the start", figure(share * 100.0)),
        Measured::Availability { point, .. } => {
            let down = length((1.0 - point) * watched.secs());
            if *point >= 1.0 {
                format!("not down once in the {in_all} watched")
            } else {
                format!("down for {down} of the {in_all} watched")
            }
        }
        Measured::LongOutages { count, .. } if odds::too_little(watched.secs()) => {
            let count = if *count == 0 { "none".to_owned() } else { count.to_string() };
            format!("{count} in the {in_all} watched, too short a time to tell a rate from")
        }
        Measured::LongOutages { count, least, most } => {
            let days = if let Ask::LongOutages { per_days, .. } = h.require.ask { per_days } else { 30.0 };
            format!(
                "{} in the {in_all} watched; so in the long run between {} and {} every {days:.0} days",
                if *count == 0 { "none".to_owned() } else { count.to_string() },
                figure(*least),
                figure(*most)
            )
        }
        Measured::Delivery(None) => "nothing seen".into(),
        Measured::Delivery(Some(d)) => figures::delivery_words(d, watched),
        Measured::Supervision { interval_s, over, longest_s } => {
            let interval = length(*interval_s);
            match (over, *longest_s > 0.0) {
                (_, false) => format!("no outage at all in the {in_all} watched"),
                (0, _) => format!(
                    "none longer than {interval} in the {in_all} watched; the longest lasted {}",
                    length(*longest_s)
                ),
                (n, _) => format!(
                    "{n} longer than {interval} in the {in_all} watched; the longest lasted {}",
                    length(*longest_s)
                ),
            }
        }
    }
}

/// About two figures without an exponent.
fn figure(x: f64) -> String {
    if x <= 0.0 {
        "none".into()
    } else if x >= 10.0 {
        format!("{x:.0}")
    } else if x >= 1.0 {
        format!("{x:.1}")
    } else {
        format!("{x:.2}")
    }
}

pub(super) fn requirement(h: &Held, j: &Judgement) -> Requirement {
    Requirement {
        name: h.require.name.clone(),
        asks: asks(&h.require.ask),
        measured: measured(h, j.look.observed),
        source: format!("{} ({})", h.require.source, h.require.tag),
        standing: h.standing,
        needs_s: h.needs.map(Micros::secs),
        holds: h.holds,
        least_s: h.require.shortest_watch(&j.evidence).map(Micros::secs),
    }
}
