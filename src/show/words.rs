//! Phrases shared by every renderer: spans, wall times, lanes, states, numbers, people.
//!
//! Decides wording and rounding only. Rounding never turns "nearly all" into "all" or "hardly any" into "none".

use super::escape;
use crate::judge::{Lane, Micros, WallTime};
use crate::snapshot::{LaneState, Snapshot, Standing, Trouble, VerdictKind, odds};
use crate::words::lanes;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

/// Longest untrusted text shown, in characters; the JSON keeps it whole.
const LONGEST: usize = 400;

/// Untrusted text, escaped and cut to a length a reader can bear; the cut is said.
pub fn safe(text: &str) -> String {
    let total = text.chars().count();
    if total <= LONGEST {
        return escape::terminal(text);
    }
    let kept: String = text.chars().take(LONGEST).collect();
    format!("{}… ({} more characters)", escape::terminal(&kept), total - LONGEST)
}

/// A length of time in seconds, in words: `2 min 5 s`. What is no length of time (negative, not a number, over
/// three centuries) is "an unknown time".
pub fn span(seconds: f64) -> String {
    if (0.0..1e10).contains(&seconds) {
        Micros((seconds * 1e6) as i64).to_string()
    } else {
        "an unknown time".to_owned()
    }
}

/// A share as a percentage, honest at both ends.
pub fn percent(share: f64) -> String {
    let p = share * 100.0;
    match p {
        p if !p.is_finite() => "unknown".to_owned(),
        p if p >= 100.0 => "100 %".to_owned(),
        p if p > 99.9 => "over 99.9 %".to_owned(),
        p if p <= 0.0 => "0 %".to_owned(),
        p if p < 0.1 => "under 0.1 %".to_owned(),
        p if (10.0..=99.0).contains(&p) => format!("{p:.0} %"),
        // Cut, not rounded, so that 99.96 % does not read 100 %.
        p => format!("{:.1} %", (p * 10.0).floor() / 10.0),
    }
}

/// How sure of a cause, in words; `None` where there is no honest figure.
pub fn sureness(confidence: Option<f64>) -> Option<String> {
    let c = confidence.filter(|c| c.is_finite())?;
    Some(format!("{} that it is this", odds(c)))
}

/// How sure, and of what, as a sentence; `None` where the verdict decides nothing or there is no honest figure.
pub fn how_sure(s: &Snapshot) -> Option<String> {
    let c = s.verdict().confidence.filter(|c| c.is_finite())?;
    let seen = span(s.watch.observed_s);
    Some(match s.verdict().kind {
        VerdictKind::IpAlone => format!(
            "How sure: going by the {seen} seen, the odds are {} that what is required holds in the long run.",
            odds(c)
        ),
        VerdictKind::AddCellular if c >= 1.0 => {
            format!("How sure: what is required did not hold in the {seen} seen, and that is no matter of odds.")
        }
        VerdictKind::AddCellular => format!(
            "How sure: going by the {seen} seen, the odds are {} that what is required does not hold in the long run.",
            odds(c)
        ),
        VerdictKind::MendFirst => format!(
            "How sure: the odds are {} that this is what was wrong, a first estimate from what else answered meanwhile.",
            odds(c)
        ),
        VerdictKind::KeepWatching => return None,
    })
}

/// How many troubles there were and how many of them interrupted the path, in one sentence.
pub fn troubles(s: &Snapshot) -> String {
    let (all, outages) = (s.troubles.len(), s.troubles.iter().filter(|t| t.outage).count());
    match (all, outages) {
        (0, _) => "No trouble in the time that was seen.".to_owned(),
        (1, 0) => "1 trouble; the path still carried.".to_owned(),
        (1, _) => "1 trouble; it interrupted the path.".to_owned(),
        (_, 0) => format!("{all} troubles; the path carried through all of them."),
        (_, n) if n == all => format!("{all} troubles; each interrupted the path."),
        (_, n) => format!("{all} troubles; {n} of them interrupted the path."),
    }
}

/// The text with its first letter as a capital.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// A round-trip time in milliseconds with about two figures.
pub fn millis(ms: f64) -> String {
    match ms {
        ms if !ms.is_finite() => "an unknown time".to_owned(),
        ms if ms >= 1_000.0 => format!("{:.1} s", ms / 1_000.0),
        ms if ms >= 10.0 => format!("{ms:.0} ms"),
        ms if ms >= 1.0 => format!("{ms:.1} ms"),
        ms => format!("{ms:.2} ms"),
    }
}

/// A count with its noun: `1 trouble`, `3 troubles`.
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// A wall time in a zone; times outside the calendar land on its edge.
pub fn zoned(at: WallTime, zone: &TimeZone) -> ZonedDateTime {
    let stamp = Timestamp::from_microsecond(at.0).unwrap_or(if at.0 < 0 { Timestamp::MIN } else { Timestamp::MAX });
    stamp.to_zoned_datetime(zone.clone())
}

/// Day and time with the zone: `25 Nov 2026 10:52:26 CET`.
pub fn full_time(at: WallTime, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%-d %b %Y %H:%M:%S %Z").to_string()
}

/// Wall times of one record: shows the day only where the record spans several, the zone always.
pub struct Clock<'a> {
    snapshot: &'a Snapshot,
    zone: &'a TimeZone,
    many_days: bool,
}

impl<'a> Clock<'a> {
    /// A clock for this record in this zone.
    pub fn new(snapshot: &'a Snapshot, zone: &'a TimeZone) -> Self {
        let first = zoned(snapshot.wall(0.0), zone).date();
        let last = zoned(snapshot.wall(snapshot.watch.elapsed_s), zone).date();
        Self { snapshot, zone, many_days: first != last }
    }

    /// The time at a second of the record, with the day if the record needs it, without the zone.
    pub fn short(&self, at_s: f64, tenths: bool) -> String {
        let z = zoned(self.snapshot.wall(at_s), self.zone);
        let time = z.strftime(if self.many_days { "%-d %b %H:%M:%S" } else { "%H:%M:%S" }).to_string();
        if tenths { format!("{time}.{}", z.subsec_nanosecond() / 100_000_000) } else { time }
    }

    /// As [`Clock::short`], with the zone.
    pub fn at(&self, at_s: f64) -> String {
        format!("{} {}", self.short(at_s, false), zoned(self.snapshot.wall(at_s), self.zone).strftime("%Z"))
    }

    /// An edge with its uncertainty: `10:51:03.4 CET ± 0.5 s`.
    pub fn edge(&self, [earliest, middle, latest]: [f64; 3]) -> String {
        let slack = (middle - earliest).max(latest - middle);
        let zone = zoned(self.snapshot.wall(middle), self.zone).strftime("%Z").to_string();
        let time = self.short(middle, slack < 1.0);
        if slack < 0.05 { format!("{time} {zone}") } else { format!("{time} {zone} ± {}", span(slack)) }
    }

    /// What the times mean, in a sentence: zone, offset, and whether the host's clock was to be trusted.
    pub fn explained(&self) -> String {
        let name = |at_s| zoned(self.snapshot.wall(at_s), self.zone).strftime("%Z (UTC%:z)").to_string();
        let (first, last) = (name(0.0), name(self.snapshot.watch.elapsed_s));
        let zone = if first == last { first } else { format!("{first}, later {last}") };
        let trust = match self.snapshot.watch.clock_synced {
            Some(true) => "this host's clock was synchronised",
            Some(false) => {
                "this host's clock was not synchronised, so wall times may be off; lengths of time are not affected"
            }
            None => "whether this host's clock was synchronised is not known; lengths of time are not affected",
        };
        format!("Times are in {zone}; {trust}.")
    }
}

/// A lane as people call it.
pub const fn lane(lane: Lane) -> &'static str {
    lanes::row(lane).trade
}

/// A lane's state in a word or two that fits the lane; the words differ without any colour.
pub const fn state(lane: Lane, state: LaneState) -> &'static str {
    match (state, lane) {
        (LaneState::Blind, _) => "not seen",
        (LaneState::Good, Lane::Power) => "on",
        (LaneState::Good, Lane::Link) => "connected",
        (LaneState::Good, Lane::Address) => "in order",
        (LaneState::Good, _) => "answers",
        (LaneState::Strained, Lane::Power | Lane::Link) => "unsteady",
        (LaneState::Strained, Lane::Address) => "in doubt",
        (LaneState::Strained, _) => "answers in part",
        (LaneState::Bad, Lane::Power) => "off",
        (LaneState::Bad, Lane::Link) => "disconnected",
        (LaneState::Bad, Lane::Address) => "missing",
        (LaneState::Bad, _) => "no answer",
    }
}

/// How a requirement stands, in words.
pub const fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Met => "holds",
        Standing::NotMet => "does not hold",
        Standing::Open => "still open",
    }
}

/// How long was looked and how much of it was seen, in one sentence.
pub fn watched(s: &Snapshot) -> String {
    let w = &s.watch;
    if w.elapsed_s <= 0.0 {
        return "Nothing has been watched yet.".to_owned();
    }
    let planned = match w.planned_s {
        Some(p) if p - w.elapsed_s > 1.0 => format!(" of the {} planned", span(p)),
        _ => String::new(),
    };
    format!(
        "Watched for {}{planned}; the path was seen for {}, {} of that time.",
        span(w.elapsed_s),
        span(w.observed_s),
        percent(w.coverage)
    )
}

/// A length for "about so much more" and "no shorter than": whole days from two days on, rounded up.
pub fn days(seconds: f64) -> String {
    let days = (seconds / 86_400.0).ceil();
    if (3.0..1e6).contains(&days) { format!("{days} days") } else { span(seconds) }
}

/// How much more is needed, where it can be said.
pub fn more(needs_s: Option<f64>) -> Option<String> {
    needs_s.filter(|s| *s > 0.0 && s.is_finite()).map(|s| format!("About {} more of watching is needed.", days(s)))
}

/// The verdict in plain words.
pub fn verdict(s: &Snapshot) -> String {
    match (s.verdict().kind, s.verdict().needs_s.filter(|n| *n > 0.0 && n.is_finite())) {
        (VerdictKind::KeepWatching, Some(n)) => format!("{} (about {} more)", s.verdict().kind.words(), days(n)),
        (kind, _) => kind.words().to_owned(),
    }
}

/// How long a trouble lasted, with the bounds its edges allow.
pub fn lasted(t: &Trouble, now_s: f64) -> String {
    let [early, mid, late] = t.start_s;
    let Some([end_early, end_mid, end_late]) = t.end_s else {
        return format!("not over after {}", span((now_s - mid).max(0.0)));
    };
    let (least, most) = ((end_early - late).max(0.0), (end_late - early).max(0.0));
    let middle = span((end_mid - mid).max(0.0));
    if most - least < 0.1 {
        format!("lasted {middle}")
    } else {
        format!("lasted {middle} (between {} and {})", span(least), span(most))
    }
}

/// Whether the station would have known of an outage; where that hangs on how long it waits, from which wait on.
pub fn station(t: &Trouble) -> String {
    let [early, _, late] = t.start_s;
    match (t.station_would_know, t.end_s) {
        (Some(true), _) => "The station would have known.".to_owned(),
        (Some(false), _) => {
            "The station may or may not have known: it was shorter than the supervision interval, which runs from the last check-in."
                .to_owned()
        }
        (None, Some([end_early, _, end_late])) => format!(
            "A station that allows less than {} of silence would have known; one that allows {} or more may or may not have.",
            span((end_early - late).max(0.0)),
            span((end_late - early).max(0.0))
        ),
        (None, None) => "Whether the station knows yet hangs on how long it waits in silence.".to_owned(),
    }
}

/// Seconds the lane has been in its present state, as far back as the record goes.
pub fn held_for(view: &crate::snapshot::LaneView) -> Option<f64> {
    let last = view.stretches.last()?;
    let mut from = last.from_s;
    for s in view.stretches.iter().rev() {
        if s.state != last.state {
            break;
        }
        from = s.from_s;
    }
    (last.state == view.state).then_some(last.to_s - from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_never_claims_all_or_none() {
        for (share, words) in [
            (1.0, "100 %"),
            (0.99999, "over 99.9 %"),
            (0.9988, "99.8 %"),
            (0.5, "50 %"),
            (0.031, "3.1 %"),
            (0.0004, "under 0.1 %"),
            (0.0, "0 %"),
            (f64::NAN, "unknown"),
        ] {
            assert_eq!(percent(share), words);
        }
        assert_eq!(sureness(Some(0.9999)).as_deref(), Some("more than 999 in 1000 that it is this"));
        assert_eq!(sureness(Some(f64::NAN)), None);
    }

    #[test]
    fn long_text_is_cut_and_the_cut_is_said() {
        let s = safe(&"x".repeat(1_000));
        assert!(s.ends_with("… (600 more characters)"), "{s}");
    }

    #[test]
    fn an_edge_shows_zone_and_slack() {
        let s = Snapshot::default();
        let zone = TimeZone::UTC;
        let c = Clock::new(&s, &zone);
        assert_eq!(c.edge([1.0, 1.5, 2.0]), "00:00:01.5 UTC ± 0.5 s");
        assert_eq!(c.edge([60.0, 70.0, 80.0]), "00:01:10 UTC ± 10 s");
    }
}
