//! Tickets: for the dealer, one for each outage or storm of outages, each cause that comes again, each lasting condition.
//!
//! Decides what makes a ticket and which fields it has; after RFC 1297's idea of a ticket that can be handed over. Who
//! acts and why is the judge's. Nothing is sent anywhere.

mod fields;
mod group;
mod told;

pub use fields::{History, Known, LaneMeanwhile, Outage, Ticket, TicketKind};
pub use group::STORM_S;
pub use told::ticket;

use super::Given;
use crate::judge::{Actor, Cause};
use crate::show::say::codes::codes;
use crate::show::say::ticket as say;
use crate::show::words::Clock;
use crate::snapshot::union;
use crate::snapshot::{Bout, Window};
use crate::snapshot::{Snapshot, Trouble};
use std::collections::BTreeMap;

/// Outages of the last days, for the histories.
type Windows<'a> = [(u32, Window<'a>)];

/// A cause is recurring where so many tickets within [`RECURRING_DAYS`] share it (choice).
const RECURRING: usize = 3;
/// Days looked back for that (choice).
const RECURRING_DAYS: f64 = 30.0;

/// Every ticket of the record: open ones first, then what recurs, what lasts, and outages from the latest back.
pub fn tickets(given: &Given) -> Vec<Ticket> {
    let s = given.snapshot;
    let clock = Clock::new(s, given.zone);
    let windows = fields::windows(s);
    let groups = group::groups(s);
    let outages: Vec<Ticket> = groups.iter().map(|g| outage(given, &windows, &clock, g)).collect();
    let mut all = recurring(given, &windows, &groups, &outages);
    all.extend(conditions(given, &windows));
    all.extend(outages.into_iter().rev());
    all.sort_by_key(|t| !t.open);
    all
}

fn outage(given: &Given, windows: &Windows, clock: &Clock, group: &[Bout]) -> Ticket {
    let s = given.snapshot;
    let now_s = s.watch.elapsed_s;
    let length = |b: &Bout| b.length_s(now_s)[1];
    let worst = group.iter().max_by(|a, b| length(a).total_cmp(&length(b))).expect("a group holds an outage");
    let first = group.first().expect("a group holds an outage");
    let open = group.iter().any(|b| b.to_s.is_none());
    let to_s = if open { None } else { group.iter().filter_map(|b| b.to_s).max_by(|a, b| a[1].total_cmp(&b[1])) };
    let down_s = add(group, now_s);
    let (from, to) = (clock.at(first.from_s[1]), to_s.map(|t| clock.at(t[1])));
    let line = if group.len() == 1 {
        say::outage_line(&worst.trouble.sentence, &from, to.as_deref(), down_s[1])
    } else {
        say::storm_line(group.len(), &worst.trouble.sentence, &from, to.as_deref(), down_s[1])
    };
    let end = to_s.map_or(now_s, |t| t[1]);
    Ticket {
        kind: if group.len() == 1 { TicketKind::Outage } else { TicketKind::Storm },
        line,
        open,
        from_s: Some(first.from_s),
        to_s,
        down_s: Some(down_s),
        outages: group.iter().map(|b| fields::outage(given, b)).collect(),
        known: fields::known(s, worst),
        lanes: fields::lanes(s, first.from_s[1], end),
        ..about(given, windows, group::outage_id(s, first), worst.trouble, end)
    }
}

/// Down time of a group by its edges, at least, middle and at most: time that two outages share counts once.
fn add(group: &[Bout], now_s: f64) -> [f64; 3] {
    let sum = |from: usize, to: usize| union(group.iter().map(|b| [b.from_s[from], b.to_s.map_or(now_s, |t| t[to])]));
    [sum(2, 0), sum(1, 1), sum(0, 2)]
}

/// What every ticket says of the trouble it is about.
fn about(given: &Given, windows: &Windows, id: String, t: &Trouble, ended_s: f64) -> Ticket {
    let s = given.snapshot;
    Ticket {
        id,
        cause: Some(t.cause),
        confidence: t.confidence,
        not_excluded: t.not_excluded.clone(),
        who: t.who,
        technician: t.technician.clone(),
        evidence_for: t.evidence_for.clone(),
        evidence_against: t.evidence_against.clone(),
        step: t.step.clone(),
        proof: t.proof.clone(),
        visit: say::visit(t.who),
        quiet_s: quiet(s, t.cause, ended_s),
        history: fields::history(windows, t.cause),
        codes: codes(t.cause),
        patterns: fields::patterns(s),
        ..Ticket::default()
    }
}

/// Seconds from an end until the record's end or the next trouble of the same cause.
fn quiet(s: &Snapshot, cause: Cause, ended_s: f64) -> f64 {
    let next = s.troubles.iter().filter(|t| t.cause == cause && t.start_s[1] > ended_s).map(|t| t.start_s[1]);
    (next.fold(s.watch.elapsed_s, f64::min) - ended_s).max(0.0)
}

/// Causes that come again and again, each with the tickets of its outages.
fn recurring(given: &Given, windows: &Windows, groups: &[Vec<Bout>], outages: &[Ticket]) -> Vec<Ticket> {
    let s = given.snapshot;
    let since = s.watch.elapsed_s - RECURRING_DAYS * 86_400.0;
    let mut by_cause: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (i, t) in outages.iter().enumerate() {
        if t.from_s.is_some_and(|f| f[1] >= since) {
            by_cause.entry(t.cause.map_or("", Cause::word)).or_default().push(i);
        }
    }
    let worst_of = |which: &[usize]| {
        let bouts = which.iter().flat_map(|i| &groups[*i]).filter(|b| Some(b.trouble.cause) == outages[which[0]].cause);
        let length = |b: &Bout| b.length_s(s.watch.elapsed_s)[1];
        bouts.max_by(|a, b| length(a).total_cmp(&length(b))).expect("the ticket is about such an outage").trouble
    };
    let mut out = Vec::new();
    for (cause, which) in by_cause.into_iter().filter(|(_, w)| w.len() >= RECURRING) {
        let worst = worst_of(&which);
        let ended = which.iter().filter_map(|i| outages[*i].to_s).map(|t| t[1]).fold(0.0, f64::max);
        let days = RECURRING_DAYS.min((s.watch.elapsed_s / 86_400.0).ceil());
        out.push(Ticket {
            kind: TicketKind::Recurring,
            line: say::recurring_line(which.len(), days, &worst.sentence),
            open: which.iter().any(|i| outages[*i].open),
            tickets: which.iter().map(|i| outages[*i].id.clone()).collect(),
            ..about(given, windows, group::cause_id(s, "again", cause), worst, ended)
        });
    }
    out
}

/// Lasting conditions: troubles that somebody should act on and that cut nothing, one ticket a cause; and what must be
/// mended without any trouble.
fn conditions(given: &Given, windows: &Windows) -> Vec<Ticket> {
    let s = given.snapshot;
    let mut by_cause: BTreeMap<&str, Vec<&Trouble>> = BTreeMap::new();
    for t in s.troubles.iter().filter(|t| !t.outage && t.who != Actor::Nobody) {
        by_cause.entry(t.cause.word()).or_default().push(t);
    }
    let mut out: Vec<Ticket> = Vec::new();
    for (cause, which) in by_cause {
        let last = which.last().expect("a cause has a trouble");
        let to_s = last.end_s;
        out.push(Ticket {
            kind: TicketKind::Condition,
            line: say::condition_line(&last.sentence, which.len()),
            open: to_s.is_none(),
            from_s: which.first().map(|t| t.start_s),
            to_s,
            times: which.iter().map(|t| fields::seen(s, t)).collect(),
            lanes: fields::lanes(s, last.start_s[1], to_s.map_or(s.watch.elapsed_s, |e| e[1])),
            ..about(
                given,
                windows,
                group::cause_id(s, "lasting", cause),
                last,
                to_s.map_or(s.watch.elapsed_s, |e| e[1]),
            )
        });
    }
    // What is to be mended without any trouble is how the path stands without mains.
    for (n, m) in s.mend.iter().filter(|m| m.cause.is_none()).enumerate() {
        let word = if n == 0 { "without-mains".to_owned() } else { format!("without-mains-{}", n + 1) };
        out.push(Ticket {
            id: group::cause_id(s, "lasting", &word),
            kind: TicketKind::Condition,
            line: m.what.clone(),
            open: true,
            cause: None,
            confidence: f64::NAN,
            who: m.who,
            step: m.step.clone(),
            proof: m.proof.clone(),
            visit: say::visit(m.who),
            ..Ticket::default()
        });
    }
    out
}
