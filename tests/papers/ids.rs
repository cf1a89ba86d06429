//! Tickets keep their names while a record grows, and no outage stands in two of them.

use super::snapshots::{self, DAY, zone};
use super::{judged, origin};
use pathproof::show::paper::Given;
use pathproof::show::paper::ticket::{STORM_S, Ticket, TicketKind, tickets};
use pathproof::snapshot::Snapshot;
use std::collections::BTreeSet;

fn of(s: &Snapshot) -> Vec<Ticket> {
    let (zone, origin) = (zone(), origin());
    tickets(&Given { snapshot: s, zone: &zone, origin: &origin })
}

fn outages(all: &[Ticket]) -> impl Iterator<Item = &Ticket> {
    all.iter().filter(|t| matches!(t.kind, TicketKind::Outage | TicketKind::Storm))
}

#[test]
fn each_outage_stands_in_one_ticket_and_names_are_told_once() {
    let mut seen = 0;
    for (site, s) in judged() {
        let all = of(s);
        let names: BTreeSet<&str> = all.iter().map(|t| t.id.as_str()).collect();
        assert_eq!(names.len(), all.len(), "{site}: {names:?}");
        let mut told: Vec<u32> = outages(&all).flat_map(|t| t.outages.iter().map(|o| o.trouble)).collect();
        told.sort_unstable();
        let want: Vec<u32> = s.troubles.iter().filter(|t| t.outage).map(|t| t.number).collect();
        assert_eq!(told, want, "{site}");
        seen += told.len();
        for t in all.iter().filter(|t| t.kind == TicketKind::Recurring) {
            assert!(t.tickets.iter().all(|id| names.contains(id.as_str())), "{site}: {:?}", t.tickets);
        }
    }
    assert!(seen > 15, "{seen} outages in all");
}

#[test]
fn outages_close_together_are_one_ticket_and_far_apart_are_not() {
    let storm = of(&judged()[3].1);
    let storm: Vec<&Ticket> = outages(&storm).collect();
    assert_eq!((storm.len(), storm[0].outages.len()), (1, 2));
    let cuts = of(&judged()[2].1);
    assert_eq!(outages(&cuts).count(), 12);
    for (a, b) in outages(&cuts).zip(outages(&cuts).skip(1)) {
        // The latest stands first.
        let (end, start) = (b.to_s.expect("over")[2], a.from_s.expect("an outage")[0]);
        assert!(start - end >= STORM_S);
    }
}

#[test]
fn a_growing_record_keeps_its_tickets() {
    let all = snapshots::papered();
    // The storm: before it, in its first outage, between the two, in the second, after both, a day later.
    let storm = &all[3];
    let at = [150_000, 200_080, 200_300, 200_600, 201_000, 300_000];
    let grown: Vec<Vec<Ticket>> = at.map(|seconds| of(&storm.judged(seconds))).to_vec();
    assert_eq!(outages(&grown[0]).count(), 0);
    let open: Vec<bool> = grown[1..].iter().map(|g| outages(g).next().expect("the storm").open).collect();
    assert_eq!(open, [true, false, true, false, false], "the record was cut where it was meant to be");
    let names: BTreeSet<&str> = grown[1..].iter().flat_map(|g| outages(g).map(|t| t.id.as_str())).collect();
    assert_eq!(names.len(), 1, "{names:?}");
    // Twelve cuts: what was told once is told again under the same name, with the same beginning.
    let cuts = &all[2];
    let mut before: Vec<(String, [f64; 3])> = Vec::new();
    for days in [2, 4, 6, 8, 10] {
        let now = of(&cuts.judged(days * DAY));
        let told: Vec<(String, [f64; 3])> =
            outages(&now).map(|t| (t.id.clone(), t.from_s.expect("an outage"))).collect();
        assert!(before.iter().all(|b| told.contains(b)), "after {days} days: {before:?} {told:?}");
        before = told;
    }
    assert_eq!(before.len(), 12);
}
