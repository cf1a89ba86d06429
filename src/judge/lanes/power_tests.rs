//! The power lane against published traces and made ones.

use super::*;
use crate::judge::facts::RouterLife;

fn m(s: i64) -> Moment {
    Moment(s * 1_000_000)
}

/// Seconds of a day.
fn hms(h: i64, min: i64, s: i64) -> i64 {
    h * 3_600 + min * 60 + s
}

fn seen(at: i64, question: Question, detail: Detail) -> Observation {
    Observation {
        asked: m(at),
        known: m(at),
        question,
        target: "source".into(),
        outcome: Outcome::Answered,
        rtt: None,
        detail,
    }
}

fn up(at: i64, up_s: u64) -> Observation {
    seen(at, Question::RouterLife, Detail::RouterLife(RouterLife { up_s: Some(up_s), ..RouterLife::default() }))
}

fn mains(at: i64, present: bool) -> Observation {
    seen(at, Question::Mains, Detail::Mains(Mains { present: Some(present), ..Mains::default() }))
}

fn macs(which: std::ops::Range<u8>) -> Vec<Mac> {
    which.map(|n| Mac([2, 0, 0, 0, 0, n])).collect()
}

#[test]
fn the_published_reboot_is_found_at_the_published_second() {
    // Probe 206, 1 January 2015 [PADMAN16]: rebooted 17:50:36.
    let mut p = Power::new(Micros::from_secs(86_400));
    let trace = [
        (hms(3, 15, 18), 262_531),
        (hms(17, 50, 26), 315_038),
        (hms(17, 50, 55), 19),
        (hms(17, 53, 59), 203),
        (hms(18, 59, 44), 4_147),
    ];
    for (at, up_s) in trace {
        p.observe(&up(at, up_s));
    }
    let restarts = p.restarts(false);
    assert_eq!(restarts.len(), 1);
    assert!((restarts[0] - m(hms(17, 50, 36))).secs().abs() <= 2.0, "{restarts:?}");
    assert_eq!(p.started_between(m(hms(17, 50, 0)), m(hms(17, 52, 0)), m(hms(17, 51, 0)), false), Some(true));
    assert_eq!(p.started_between(m(hms(4, 0, 0)), m(hms(5, 0, 0)), m(hms(5, 0, 0)), false), Some(false));
    // Nobody told of its life after the record.
    assert_eq!(p.started_between(m(hms(19, 0, 0)), m(hms(19, 1, 0)), m(hms(19, 1, 0)), false), None);
}

#[test]
fn a_clock_that_runs_off_and_a_counter_that_wraps_are_no_restart() {
    let mut p = Power::new(Micros::from_secs(600));
    // Two parts in ten thousand slow for a day.
    for i in 0..288 {
        let at = i * 300;
        p.observe(&up(at, 1_000 + (at as f64 * 0.9998) as u64));
    }
    assert_eq!(p.restarts(false), []);
    // sysUpTime wraps after 497 days (RFC 3418).
    let mut p = Power::new(Micros::from_secs(600));
    p.observe(&up(0, 42_949_600));
    p.observe(&up(300, 227));
    assert_eq!(p.restarts(false), []);
    p.observe(&up(600, 10));
    assert_eq!(p.restarts(false).len(), 1);
}

#[test]
fn mains_lost_is_a_bad_span_between_the_looks_that_disagree() {
    let mut p = Power::new(Micros::from_secs(30));
    for (at, present) in [(0, true), (5, true), (10, false), (15, false), (20, true)] {
        p.observe(&mains(at, present));
    }
    let spans = p.spans();
    assert_eq!(spans.len(), 1);
    assert_eq!((spans[0].start, spans[0].end), (Edge::between(m(5), m(10)), Some(Edge::between(m(15), m(20)))));
    assert_eq!(p.reach(), Some((m(0), m(20))));
    assert_eq!(
        (p.mains_between(m(0), m(4)), p.mains_between(m(11), m(12)), p.mains_between(m(30), m(40))),
        (Some(true), Some(false), None)
    );
}

#[test]
fn neighbours_leave_together_or_one_by_one() {
    let looks = |sets: &[(i64, std::ops::Range<u8>)]| {
        let mut p = Power::new(Micros::from_secs(30));
        for (at, set) in sets {
            p.observe(&seen(*at, Question::Neighbours, Detail::Neighbours(macs(set.clone()))));
        }
        p.neighbours_stayed(m(0), m(100))
    };
    assert_eq!(looks(&[(0, 1..8), (30, 1..8), (60, 1..2), (90, 1..8)]), Some(false));
    assert_eq!(looks(&[(0, 1..8), (30, 1..7), (60, 1..6), (90, 3..9)]), Some(true));
    // Half of them is not enough: they may go to bed.
    assert_eq!(looks(&[(0, 1..9), (30, 5..9)]), Some(true));
    // Two boxes are too few to tell.
    assert_eq!(looks(&[(0, 1..3), (30, 0..0)]), None);
}

#[test]
fn a_box_started_twice_within_ten_seconds_is_seen_to_be() {
    let mut p = Power::new(Micros::from_secs(600));
    // Started two seconds before the record, and again in its eighth.
    p.observe(&up(0, 2));
    p.observe(&up(20, 12));
    assert_eq!(p.restarts(false), [m(8)]);
}
