//! A drill named in the site file, from the probes' entries to the verdict: what happens in it counts neither way.

use crate::draw::Draw;
use crate::probes::{Fault, Network, settings};
use crate::rule::household;
use pathproof::judge::{Judge, Judgement, Planned, WallTime};

const SEED: u64 = 61;
/// Where the simulated wall clock begins (`probes::Network::play`).
const BEGAN: i64 = 1_700_000_000_000_000;

fn seconds(s: i64) -> i64 {
    s * 1_000_000
}

/// An hour in which the line is cut from `from` to `to`, judged with a drill from 600 s to 900 s if `planned`.
fn judged(faults: &[(i64, i64)], planned: bool) -> Judgement {
    let mut network = Network::clean(3_600);
    network.faults = faults.iter().map(|(a, b)| (Fault::Line, seconds(*a), seconds(*b))).collect();
    let mut settings = settings(household());
    if planned {
        let at = |s| WallTime(BEGAN + seconds(s));
        settings.known.planned = vec![Planned { from: at(600), to: at(900), what: "mains-off drill".into() }];
    }
    let mut judge = Judge::new(settings);
    network.play(&mut Draw::new(SEED), |e| judge.take(&e));
    judge.judgement()
}

fn lengths(j: &Judgement) -> Vec<f64> {
    j.evidence.lasted().iter().map(|o| o.seconds).collect()
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 2.0
}

#[test]
fn an_outage_inside_a_drill_is_left_out_and_so_is_its_time() {
    let faults = [(650, 800), (2_000, 2_030)];
    let (with, without) = (judged(&faults, true), judged(&faults, false));
    assert!(lengths(&with).len() == 1 && close(lengths(&with)[0], 30.0), "{:?}", lengths(&with));
    let all = lengths(&without);
    assert!(all.len() == 2 && close(all[0], 150.0) && close(all[1], 30.0), "{all:?}");
    let left_out = without.evidence.observed() - with.evidence.observed();
    assert!(close(left_out.secs(), 300.0), "{left_out}");
    // The drill moves the verdict no way: as if those five minutes had not been watched.
    assert_eq!(with.held[0].standing, judged(&faults[1..], true).held[0].standing);
    assert_eq!(with.kind, judged(&faults[1..], true).kind);
}

#[test]
fn an_outage_that_outlasts_the_drill_counts_for_the_rest() {
    let with = judged(&[(850, 1_000)], true);
    assert!(lengths(&with).len() == 1 && close(lengths(&with)[0], 100.0), "{:?}", lengths(&with));
    // The last answers of an hour differ by a few milliseconds from draw to draw.
    assert!(close((judged(&[], true).evidence.observed() - with.evidence.observed()).secs(), 0.0));
}
