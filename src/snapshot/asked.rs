//! Requirements in words: what is asked, what was measured. No percentage without "of what" and "how long".

use super::{Requirement, figures, words};
use crate::judge::requirement::{Ask, Held, Measured};
use crate::judge::{Judgement, Micros};

pub(super) fn asks(ask: &Ask) -> String {
    match ask {
        Ask::Coverage { at_least } => format!("watched at least {:.0} of every 100 hours", at_least * 100.0),
        Ask::Availability { at_least, sure } => {
            let down = Micros(((1.0 - at_least) * 30.0 * 86_400e6).round() as i64);
            format!(
                "path up {:.2} % of the time in the long run (down at most {down} in 30 days), {:.0} in 100 sure of it",
                at_least * 100.0,
                sure * 100.0
            )
        }
        Ask::LongOutages { longer_than_s, at_most, per_days, sure } => format!(
            "at most {} longer than {} in {per_days:.0} days, {:.0} in 100 sure of it",
            if (*at_most - 1.0).abs() < 1e-9 { "one outage".to_owned() } else { format!("{at_most} outages") },
            Micros((longer_than_s * 1e6) as i64),
            sure * 100.0
        ),
        Ask::Delivery { within_s, at_least, sure } => format!(
            "of 1000 alarms raised at random moments, at least {:.0} get through within {} (site file first), {:.0} in 100 sure of it",
            at_least * 1000.0,
            Micros((within_s * 1e6) as i64),
            sure * 100.0
        ),
        Ask::Supervision { interval_s } => {
            format!(
                "no outage longer than the station's supervision interval (site file, else {})",
                Micros((interval_s * 1e6) as i64)
            )
        }
    }
}

pub(super) fn measured(m: &Measured) -> String {
    match m {
        Measured::Coverage(share) => format!("watched {:.1} % of the time since the start", share * 100.0),
        Measured::Availability { point, holds } => {
            format!(
                "up {:.3} % of the time watched; {} in 100 that the requirement holds in the long run",
                point * 100.0,
                words::hundred(*holds)
            )
        }
        Measured::LongOutages { count, least, most } => {
            format!(
                "{count} seen; rate between {} and {} for the period (one-sided bounds)",
                figure(*least),
                figure(*most)
            )
        }
        Measured::Delivery(None) => "nothing seen".into(),
        Measured::Delivery(Some(d)) => figures::delivery_words(d),
        Measured::Supervision { interval_s, over, longest_s } => format!(
            "{over} longer than {}; longest {}",
            Micros((interval_s * 1e6) as i64),
            Micros((longest_s * 1e6) as i64)
        ),
    }
}

/// Two or three significant figures without an exponent.
fn figure(x: f64) -> String {
    if x >= 100.0 {
        format!("{x:.0}")
    } else if x >= 1.0 {
        format!("{x:.1}")
    } else {
        format!("{x:.3}")
    }
}

pub(super) fn requirement(h: &Held, j: &Judgement) -> Requirement {
    Requirement {
        name: h.require.name.clone(),
        asks: asks(&h.require.ask),
        measured: measured(&h.measured),
        source: format!("{} ({})", h.require.source, h.require.tag),
        standing: h.standing,
        needs_s: h.needs.map(Micros::secs),
        holds: h.holds,
        least_s: h.require.shortest_watch(&j.evidence).map(Micros::secs),
    }
}
