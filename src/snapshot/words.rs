//! Words that several views share: lanes, actors, failures, counts, lengths. Sentences about causes are in `causes`.

use crate::judge::{Actor, Lane, Micros, Question, Span};

/// Who acts, as a word.
pub(super) fn actor(a: Actor) -> &'static str {
    match a {
        Actor::Customer => "customer",
        Actor::Installer => "installer",
        Actor::Provider => "provider",
        Actor::Station => "station",
        Actor::Nobody => "nobody",
    }
}

/// The lane in plain words.
pub(super) const fn lane_words(lane: Lane) -> &'static str {
    match lane {
        Lane::Power => "mains and this device's own life",
        Lane::Link => "the network lead",
        Lane::Address => "the address",
        Lane::Router => "the router",
        Lane::Names => "name lookups",
        Lane::Outside => "the reference points outside",
        Lane::Receiver => "the station's receiver",
    }
}

/// What failed inside a span, in words, with counts.
pub(super) fn failures(span: &Span) -> Option<String> {
    if span.failures.is_empty() {
        return None;
    }
    let list: Vec<String> = span
        .failures
        .iter()
        .map(|(o, n)| {
            let word = if *o == crate::judge::Outcome::Answered { "answered with an error" } else { o.words() };
            format!("{n} × {word}")
        })
        .collect();
    Some(format!("{}: {}; {} answered in between", lane_words(span.lane), list.join(", "), span.answers))
}

/// What would open a question that was not permitted.
pub(super) const fn opens(q: Question) -> &'static str {
    match q {
        Question::GatewayEcho | Question::PathMtu => {
            "the capability CAP_NET_RAW, or this group in net.ipv4.ping_group_range"
        }
        Question::GatewayArp | Question::Offers | Question::Conflict => "the capability CAP_NET_RAW",
        Question::Communicator => "the capability CAP_NET_RAW",
        Question::Mains => "a host with a battery of its own, or a NUT server named under [power] in the site file",
        Question::RouterLife => "a router with an IPv4 address, or its SNMP agent named under [power] in the site file",
        Question::Lease => "the lease file of the host's own address client, readable by this user",
        Question::Connect | Question::Handshake => "a receiver named in the site file",
        _ => "a network interface with an address and a default route",
    }
}

/// A count with its noun.
pub(super) fn count(n: usize, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// A length in days or less, for "about N more".
pub(super) fn about(needs: Micros) -> String {
    let days = needs.secs() / 86_400.0;
    if days >= 2.0 { format!("about {} more days", days.ceil()) } else { format!("about {needs} more") }
}

/// A length in whole days, or less.
pub(super) fn days(length: Micros) -> String {
    let days = length.secs() / 86_400.0;
    if days >= 2.0 { format!("{} days", days.ceil()) } else { length.to_string() }
}

/// With a capital at the front.
pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}
