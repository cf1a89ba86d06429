//! Facts of the site in words: what was found on the way that is no trouble by itself, what changed and when, and what
//! the troubles follow.

use super::{Fact, Header};
use crate::judge::ground::unrouted;
use crate::judge::{
    Change, Detail, Follows, Judge, Judgement, Micros, Moment, Pattern, Place, Question, Transport, WallTime,
};
use std::net::IpAddr;

/// Facts of the site, label and value.
pub(super) fn facts(judge: &Judge, header: &Header, j: &Judgement) -> Vec<Fact> {
    let mut out = Vec::new();
    let mut say = |label: &str, value: String| out.push(Fact { label: label.into(), value });
    let list = |ips: &[std::net::IpAddr]| ips.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let (held, gateway) = judge.standings().own();
    for a in held {
        let valid =
            a.valid_s.map_or("no end given".to_owned(), |s| format!("valid for {}", Micros::from_secs(s.into())));
        say("address of this device", format!("{}/{}, {valid}", a.address, a.prefix));
    }
    if let Some(g) = gateway {
        say("gateway", g.to_string());
    }
    for o in judge.last_details() {
        match &o.detail {
            Detail::Lease(l) => {
                let who = l.recorded_by.as_deref().unwrap_or("the host's client");
                let server = l.server.map_or("unknown server".to_owned(), |s| s.to_string());
                let length = l.lease_s.map_or("unknown length".to_owned(), |s| Micros::from_secs(s.into()).to_string());
                say(
                    "lease",
                    format!("from {server} for {length}, resolvers {} (recorded by {who})", list(&l.resolvers)),
                );
            }
            Detail::Offers { offers, discarded } => {
                for l in offers {
                    let server = l.server.map_or("unnamed".to_owned(), |s| s.to_string());
                    let from = l.from.map_or(String::new(), |m| format!(" ({m})"));
                    let length =
                        l.lease_s.map_or("unknown length".to_owned(), |s| Micros::from_secs(s.into()).to_string());
                    say("address server", format!("{server}{from}: router {}, lease {length}", list(&l.routers)));
                }
                if *discarded > 0 {
                    say("address replies that made no sense", discarded.to_string());
                }
            }
            Detail::Claimants(macs)
                if o.question == Question::GatewayArp || o.question == Question::GatewayNeighbour =>
            {
                say("gateway hardware address", macs.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "));
            }
            Detail::Tls(t) => {
                let trust = match t.trusted {
                    Some(true) => "certificate trusted",
                    Some(false) => "certificate not trusted by public roots (usual for receivers)",
                    None => "certificate not judged",
                };
                say(
                    &format!("TLS of {}", o.target),
                    format!("{}, {trust}", t.version.as_deref().unwrap_or("no version")),
                );
            }
            _ => {}
        }
    }
    let conflicts = || judge.tallies().iter().filter(|(q, ..)| *q == Question::Conflict).map(|(_, _, t)| t);
    let rounds: u64 = conflicts().map(crate::judge::tally::Tally::asked).sum();
    if rounds > 0 && conflicts().all(|t| t.answered() == 0) {
        say("address conflict", format!("asked {rounds} times; nobody else claims this device's address"));
    }
    for (question, name) in &j.look.never_answered {
        say("never answered", format!("{} by {name}: taken as filtered, not as a fault", question.words()));
    }
    for (lane, lost, asked) in &j.look.random_loss {
        if *lost > 0 {
            say("single losses", format!("{}: {lost} of {asked} questions outside any trouble", lane.word()));
        }
    }
    beside(judge, j, &mut say);
    for note in &header.notes {
        say("taken as given", note.clone());
    }
    out
}

/// What stands beside the lanes: power, the way out, changes, patterns.
fn beside(judge: &Judge, j: &Judgement, say: &mut impl FnMut(&str, String)) {
    let zero = judge.began().unwrap_or_default();
    if judge.power().reach().is_some() {
        say("power", power(judge));
    }
    for o in judge.last_details() {
        match &o.detail {
            Detail::SecondHop(a) => {
                if let Some(what) = unrouted(*a) {
                    let what = if what == "private" {
                        "a second router at the site"
                    } else {
                        "the provider's own translation"
                    };
                    say("second hop", format!("{a}: {what}; outgoing signals work through it, incoming ones don't"));
                }
            }
            Detail::RouterLife(life) => {
                if let Some(outer) = life.outer {
                    let what = match unrouted(outer) {
                        Some("shared") => " (shared by the provider's subscribers, RFC 6598: outgoing signals only)",
                        Some(_) => " (private: another router before it)",
                        None => "",
                    };
                    say("outer address, as the router says", format!("{outer}{what}"));
                }
            }
            Detail::SeenFrom(a) => say("address as seen from outside", a.ip().to_string()),
            Detail::Idle { over, kept_s, lost_s } => {
                let over = if *over == Transport::Tcp { "TCP" } else { "UDP" };
                let secs = |s: u32| Micros::from_secs(s.into());
                let lost = lost_s.map_or(", none tried longer".to_owned(), |s| format!(", lost after {}", secs(s)));
                say("idle time allowed", format!("{over} to {}: kept for {}{lost}", o.target, secs(*kept_s)));
            }
            Detail::PathMtu { passed, .. } => say("largest packet", format!("{passed} octets to {}", o.target)),
            Detail::Radio(radio) => {
                if let Some(dbm) = radio.signal_dbm {
                    say("radio signal", format!("{dbm} dBm"));
                }
            }
            Detail::ClockOffset { offset, error } => {
                say("clock offset", format!("{:.3} s, known to {:.3} s", offset.secs(), error.secs()));
            }
            Detail::Name(a) if o.question == Question::Translation => {
                if let Some(a) = a.addresses.iter().find(|a| a.is_ipv6()) {
                    say("IPv4 by translation", format!("offered ({a}, RFC 7050)"));
                }
            }
            Detail::Claimants(w) if o.question == Question::Communicator && !w.is_empty() => {
                say("communicator", format!("{} is on the network", o.target));
            }
            _ => {}
        }
    }
    for at in judge.power().restarts(false) {
        say("router started anew", format!("by its own count, {}", utc(zero, at)));
    }
    for (edge, change) in &j.look.changes {
        let (label, value) = changed(*change);
        say(label, format!("{value}, {}", utc(zero, edge.midpoint())));
    }
    for p in &j.look.patterns {
        say("pattern", pattern(p));
    }
}

/// The power lane as last seen.
pub(super) fn power(judge: &Judge) -> String {
    let mut parts = Vec::new();
    if let Some((_, m)) = judge.power().battery() {
        parts.push(match m.present {
            Some(true) => "mains present".to_owned(),
            Some(false) => "mains lost, on battery".to_owned(),
            None => "mains not known".to_owned(),
        });
        parts.extend(m.charge_percent.map(|c| format!("battery at {c} %")));
        parts.extend(m.battery_low.then(|| "battery low".to_owned()));
        parts.extend(m.battery_bad.then(|| "battery wants replacing".to_owned()));
    }
    parts.extend(judge.power().router_up().map(|(at, since)| format!("router up for {}", at - since)));
    if parts.is_empty() { "not watched yet".into() } else { parts.join(", ") }
}

fn changed(c: Change) -> (&'static str, String) {
    let ips = |from: IpAddr, to: IpAddr| format!("{from} before, {to} since");
    match c {
        Change::Gateway { from, to } => ("router changed", format!("{from} before, {to} since")),
        Change::Address { from, to, subnet: true } => ("address range changed", ips(from, to)),
        Change::Address { from, to, .. } => ("address of this device changed", ips(from, to)),
        Change::Server { from, to } => ("address server changed", ips(from, to)),
        Change::Resolvers { from, to } => ("resolvers changed", ips(from, to)),
        Change::Outer { from, to, prefix: true } => ("public address range changed", ips(from, to)),
        Change::Outer { from, to, .. } => ("public address changed", ips(from, to)),
    }
}

fn pattern(p: &Pattern) -> String {
    let who = match p.place {
        Place::Home => "losses of the router or lead",
        Place::Line => "losses of the line",
        Place::Load => "slow or lossy spells",
    };
    let c = &p.cluster;
    let day = |s: f64| format!("{:02}:{:02}", (s / 3_600.0) as u32 % 24, (s / 60.0) as u32 % 60);
    let what = match p.follows {
        Follows::Minute | Follows::Hours => format!("begin between {} and {} UTC", day(c.from), day(c.to)),
        Follows::Age => format!("come {} after the one before", Micros((c.from * 1e6) as i64)),
        Follows::Lease => format!("come {:.0} % into the lease", (c.from + c.to) * 50.0),
        Follows::Mains => "come with the mains or soon after".to_owned(),
    };
    format!(
        "{} of {} {who} {what}; at a site where nothing follows a clock, chance shows such a thing in {} watches of this length at most",
        c.count,
        c.of,
        super::odds(c.false_alarm)
    )
}

/// A moment as wall time, UTC, to the minute.
fn utc(zero: WallTime, at: Moment) -> String {
    let us = zero.0.saturating_add(at.0);
    jiff::Timestamp::from_microsecond(us)
        .map_or_else(|_| "at no time a calendar knows".into(), |t| t.strftime("%Y-%m-%d %H:%M UTC").to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wall_time_reads_like_the_calendar() {
        // `date -u -d @N` of GNU coreutils.
        for (s, words) in [(951_782_400, "2000-02-29 00:00 UTC"), (1_700_000_000, "2023-11-14 22:13 UTC")] {
            assert_eq!(utc(WallTime(s * 1_000_000), Moment(0)), words);
        }
        assert_eq!(utc(WallTime(i64::MAX), Moment(0)), "at no time a calendar knows");
    }
}
