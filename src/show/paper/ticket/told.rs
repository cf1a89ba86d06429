//! Tickets as a paper: an overview, then each in full.
//!
//! Decides order and how many are told in full; all are in the JSON.

use super::fields::{LaneMeanwhile, Outage, Ticket, TicketKind};
use super::tickets;
use crate::judge::{Actor, Lane};
use crate::show::paper::part::sentence;
use crate::show::paper::{Blocks, Given, Kind, Paper};
use crate::show::say::codes::Code;
use crate::show::say::ticket::{self as say, label, provider};
use crate::show::say::{local, utc};
use crate::show::words::{self, Clock, full_time, safe, span, zoned};
use crate::snapshot::{LaneState, Snapshot};
use crate::words::{causes::named, people};
use std::collections::BTreeSet;

/// Most tickets told in full.
const IN_FULL: usize = 6;
/// Most rows of the overview.
const IN_TABLE: usize = 100;
/// Most outages of a ticket told one by one.
const OUTAGES: usize = 20;

/// The tickets of a record as a paper; its data holds every one of them.
pub fn ticket(given: &Given) -> Paper {
    let s = given.snapshot;
    let all = tickets(given);
    let mut paper = Paper::new(Kind::Ticket, say::KICKER, &say::title(&safe(&s.site)));
    let p = &mut paper.blocks;
    let open = all.iter().filter(|t| t.open).count();
    p.lead(&say::lead(all.len(), open, all.len().min(IN_FULL)));
    p.say(say::covers(
        &full_time(s.wall(0.0), given.zone),
        &full_time(s.wall(s.watch.elapsed_s), given.zone),
        s.watch.elapsed_s,
        s.watch.observed_s,
    ));
    if all.len() > 1 {
        p.part("overview", say::OVERVIEW);
        let row = |t: &Ticket| {
            vec![t.id.clone(), sentence(&t.line), say::state(t.open, t.quiet_s), people::who(t.who).to_owned()]
        };
        p.table(say::OVERVIEW_ABOUT, &say::OVERVIEW_HEAD, all.iter().take(IN_TABLE).map(row));
    }
    for (n, t) in all.iter().take(IN_FULL).enumerate() {
        if n > 0 {
            p.page();
        }
        one(p, n, t, given);
    }
    if all.len() > IN_FULL {
        p.say(say::rest(all.len() - IN_FULL));
    }
    codes(p, all.iter().take(IN_FULL));
    p.part("record", label::MADE_BY);
    p.pairs(origin(given));
    p.list([say::LIMIT, say::PRIVACY]);
    p.list(s.cautions.iter().map(|c| safe(c)));
    paper.data = serde_json::json!({ "site": s.site, "began_utc": utc(s.wall(0.0)), "tickets": all });
    paper
}

fn origin(given: &Given) -> Vec<(&'static str, String)> {
    let o = given.origin;
    let mut out = vec![(label::MADE_BY, format!("pathproof {}", safe(&given.snapshot.version)))];
    out.extend(o.sha256.iter().map(|h| (label::RECORD, h.clone())));
    out.extend(o.plan_sha256.iter().map(|h| (label::PLAN, h.clone())));
    out.extend(o.boot.iter().map(|b| (label::BOOT, safe(b))));
    out
}

fn one(p: &mut Blocks, n: usize, t: &Ticket, given: &Given) {
    let s = given.snapshot;
    let clock = Clock::new(s, given.zone);
    p.part(&format!("ticket-{n}"), &t.id);
    p.lead(&sentence(&t.line));
    let mut pairs = vec![
        (label::SITE, safe(&s.site)),
        (label::STATE, say::state(t.open, t.quiet_s)),
        (label::CAUSE, say::cause(t.cause, t.confidence)),
    ];
    if !t.not_excluded.is_empty() {
        pairs.push((label::NOT_EXCLUDED, list(&t.not_excluded.iter().map(|c| named(*c)).collect::<Vec<_>>())));
    }
    p.pairs(pairs);

    p.piece(say::ACT);
    let mut pairs = vec![(label::WHO, people::who(t.who).to_owned()), (label::NEXT, sentence(&t.step))];
    pairs.push((label::VISIT, t.visit.to_owned()));
    pairs.push((label::GUARD, say::GUARD.to_owned()));
    pairs.push((label::PROOF, sentence(&t.proof)));
    p.pairs(pairs);

    if let Some(from) = t.from_s {
        p.piece(say::TIME);
        time(p, t, from, given);
    }
    p.piece(say::EVIDENCE);
    let mut pairs = vec![(label::SEEN, safe(&t.technician))];
    pairs.retain(|(_, v)| !v.is_empty());
    if !t.evidence_for.is_empty() {
        pairs.push((label::FOR, list(&t.evidence_for)));
    }
    if !t.evidence_against.is_empty() {
        pairs.push((label::AGAINST, list(&t.evidence_against)));
    }
    p.pairs(pairs);
    p.table(say::LANES_ABOUT, &say::LANES_HEAD, t.lanes.iter().map(|l| lane_row(l, &clock)));

    if !t.known.is_empty() {
        p.piece(say::EFFECT);
        let row = |k: &super::Known| vec![span(k.interval_s), safe(&k.used), say::known(k.noticed, k.chance)];
        p.table(say::EFFECT_ABOUT, &say::EFFECT_HEAD, t.known.iter().map(row));
    }
    if let Some(cause) = t.cause.filter(|_| !t.history.is_empty()) {
        p.piece(say::HISTORY);
        p.table(&say::history(cause), &say::HISTORY_HEAD, history(t));
        let patterns = t.patterns.iter().map(|x| (label::PATTERN, safe(x)));
        p.pairs(patterns.chain((!t.tickets.is_empty()).then(|| (label::TICKETS, t.tickets.join(", ")))));
    }
    if t.who == Actor::Provider {
        p.piece(say::PROVIDER);
        p.verbatim(for_provider(t, given));
    } else if matches!(t.kind, TicketKind::Outage | TicketKind::Storm) {
        p.say(say::NOT_PROVIDER);
    }
    p.pairs([(label::REFERENCE, say::REFERENCE)]);
}

/// The codes of all the tickets told, each once.
fn codes<'a>(p: &mut Blocks, told: impl Iterator<Item = &'a Ticket>) {
    let mut all: Vec<Code> = Vec::new();
    for code in told.flat_map(|t| &t.codes) {
        if !all.contains(code) {
            all.push(*code);
        }
    }
    if !all.is_empty() {
        p.part("codes", say::CODES);
        let row = |c: &Code| vec![c.meaning.to_owned(), c.contact_id.to_owned(), c.letters.to_owned()];
        p.table(say::CODES_ABOUT, &say::CODES_HEAD, all.iter().map(row));
        p.say(say::CODES_NOTE);
    }
}

fn list(items: &[String]) -> String {
    items.iter().map(|i| safe(i)).collect::<Vec<_>>().join("; ")
}

fn time(p: &mut Blocks, t: &Ticket, from: [f64; 3], given: &Given) {
    let s = given.snapshot;
    let edge = |[a, m, b]: [f64; 3]| {
        let at = s.wall(m);
        say::edge(&local(at, given.zone), &utc(at), (m - a).max(b - m))
    };
    let mut pairs = vec![(label::FROM, edge(from))];
    pairs.extend(t.to_s.map(|to| (label::TO, edge(to))));
    pairs.extend(t.down_s.map(|d| (label::DOWN, say::down(d))));
    if let Some(d) = s.ruling.as_ref().and_then(|r| r.detection.as_ref()) {
        pairs.push((label::DELAY, say::delay(d.every_s, d.run)));
    }
    pairs.push((label::CLOCK, say::clock(s.watch.clock_synced).to_owned()));
    p.pairs(pairs);
    for (about, all) in [(say::OUTAGES_ABOUT, &t.outages), (say::TIMES_ABOUT, &t.times)] {
        if all.len() < 2 {
            continue;
        }
        let row = |o: &Outage| {
            let at = |x: f64| local(s.wall(x), given.zone);
            let to = o.to_s.map_or("not over".to_owned(), |t| at(t[1]));
            vec![at(o.from_s[1]), to, span(o.length_s[1]), sentence(&o.sentence)]
        };
        p.table(about, &say::OUTAGES_HEAD, all.iter().take(OUTAGES).map(row));
        if all.len() > OUTAGES {
            p.say(say::more_outages(all.len() - OUTAGES));
        }
    }
}

fn lane_row(l: &LaneMeanwhile, clock: &Clock) -> Vec<String> {
    let at = |x: Option<f64>| x.map_or("–".to_owned(), |s| clock.at(s));
    vec![words::lane(l.lane).to_owned(), say::lane(l.lane, l.state), at(l.lost_s), at(l.back_s)]
}

fn history(t: &Ticket) -> impl Iterator<Item = Vec<String>> {
    let told = |h: &super::History, i: usize| say::counted(h.outages[i], h.down_s[i], h.longest_s[i]);
    t.history.iter().map(move |h| vec![say::window(h.days, h.covered_s), told(h, 0), told(h, 1)])
}

/// What an internet provider needs, to be copied into its form.
fn for_provider(t: &Ticket, given: &Given) -> Vec<String> {
    let s = given.snapshot;
    let zone = zoned(s.wall(t.to_s.map_or(s.watch.elapsed_s, |e| e[1])), given.zone);
    let mut out = provider::opening(&zone.strftime("%Z (UTC%:z)").to_string(), say::clock(s.watch.clock_synced));
    let at = |x: f64| local(s.wall(x), given.zone);
    // A cause that comes again lists the outages of its tickets, any other ticket its own.
    let own: Vec<Outage> = match t.kind {
        TicketKind::Recurring => tickets_of(t, given),
        _ => t.outages.clone(),
    };
    for (n, o) in own.iter().take(OUTAGES).enumerate() {
        let slack = (o.from_s[1] - o.from_s[0]).max(o.from_s[2] - o.from_s[1]);
        let slack = o.to_s.map_or(slack, |e| slack.max(e[1] - e[0]).max(e[2] - e[1]));
        let to = o.to_s.map(|e| at(e[1]));
        out.push(provider::outage(n + 1, &at(o.from_s[1]), to.as_deref(), o.length_s[1], slack));
    }
    if own.len() > OUTAGES {
        out.push(say::more_outages(own.len() - OUTAGES));
    }
    if own.is_empty() {
        out.push(sentence(&t.line));
    }
    out.extend(match t.kind {
        TicketKind::Recurring => line_facts(s, &super::fields::lanes_in_each(s, &own)),
        _ => line_facts(s, &t.lanes),
    });
    out.push(provider::PLEASE.to_owned());
    out.push(provider::ADD.to_owned());
    out
}

fn tickets_of(t: &Ticket, given: &Given) -> Vec<Outage> {
    let own = super::group::groups(given.snapshot);
    let mine = own
        .iter()
        .filter(|g| g.first().is_some_and(|f| t.tickets.contains(&super::group::outage_id(given.snapshot, f))));
    mine.flatten().filter(|b| Some(b.trouble.cause) == t.cause).map(|b| super::fields::outage(given, b)).collect()
}

/// What answered on the site's side, what did not, and who was asked.
fn line_facts(s: &Snapshot, lanes: &[LaneMeanwhile]) -> Vec<String> {
    let mut out = Vec::new();
    if !lanes.is_empty() {
        let inside = |l: &LaneMeanwhile| matches!(l.lane, Lane::Power | Lane::Link | Lane::Address | Lane::Router);
        let name = |l: &LaneMeanwhile| words::lane(l.lane).to_lowercase();
        let good: Vec<String> = lanes.iter().filter(|l| inside(l) && l.state == LaneState::Good).map(name).collect();
        let lost: Vec<String> = lanes.iter().filter(|l| l.state == LaneState::Bad).map(name).collect();
        out.push(provider::ours(&good));
        out.push(provider::dies(&lost));
    }
    let far = s.targets.iter().filter(|t| matches!(t.lane, Lane::Outside | Lane::Receiver) && t.asked > 0);
    let far: BTreeSet<&str> = far.map(|t| t.target.as_str()).collect();
    if !far.is_empty() {
        out.push(provider::asked(far.len()));
    }
    out
}
