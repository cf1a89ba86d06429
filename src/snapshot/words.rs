//! Words that several views share: counts, lengths, what opens a question.

use crate::judge::{Micros, Question};

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
