//! What answers about the way between here and the receiver mean, by the standards that say so.
//!
//! Decides which space an address belongs to (RFC 1918, RFC 6598), how many boxes translate as far as addresses tell,
//! whether a resolver translates IPv4 (RFC 7050) and by which prefix (RFC 6052), and what the standards ask of idle
//! times. These are facts beside the path: none of them is a fault by itself.

use crate::judge::facts::Transport;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// RFC 4787 REQ-5: a UDP mapping must not expire in less.
pub const UDP_IDLE_LEAST_S: u32 = 120;
/// RFC 5382 REQ-5: an established TCP connection must not be forgotten in less than 2 hours 4 minutes.
pub const TCP_IDLE_LEAST_S: u32 = 7_440;

/// The idle time that the standards ask of a box that translates, seconds.
pub const fn least_idle_s(over: Transport) -> u32 {
    match over {
        Transport::Tcp => TCP_IDLE_LEAST_S,
        Transport::Udp => UDP_IDLE_LEAST_S,
    }
}

/// Which space an IPv4 address belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Space {
    /// RFC 1918: a home's or a company's own.
    Private,
    /// RFC 6598, 100.64.0.0/10: between a provider's translator and its customers.
    Shared,
    /// Loopback or link-local (RFC 6890): says nothing of the way.
    Local,
    /// Anything else.
    Outside,
}

/// The space of an address; IPv6 addresses are outside, for nobody translates them for want.
pub fn space(address: IpAddr) -> Space {
    let IpAddr::V4(a) = address.to_canonical() else { return Space::Outside };
    let o = a.octets();
    if a.is_private() {
        Space::Private
    } else if o[0] == 100 && o[1] & 0xc0 == 64 {
        Space::Shared
    } else if a.is_loopback() || a.is_link_local() || a.is_unspecified() {
        Space::Local
    } else {
        Space::Outside
    }
}

/// How many boxes translate between here and the outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Translators {
    /// The outside sees this host's own address.
    None,
    /// One, as in most homes.
    One,
    /// At least two; and whether the outer one is the provider's (its space is the shared one).
    Several {
        /// An address of RFC 6598 space was seen between.
        providers: bool,
    },
    /// At least one; whether there are more the answers don't tell.
    Some,
}

/// What the addresses tell: this host's own, the router's outer one as it says itself, the second hop, and the one the
/// outside sees. `None` where nothing can be said at all.
pub fn translators(
    own: IpAddr,
    router_outer: Option<IpAddr>,
    second_hop: Option<IpAddr>,
    seen: Option<IpAddr>,
) -> Option<Translators> {
    if own.is_ipv6() {
        return None;
    }
    let between = [router_outer, second_hop].map(|a| a.filter(IpAddr::is_ipv4).map(space));
    let providers = between.contains(&Some(Space::Shared));
    if seen == Some(own) {
        return Some(Translators::None);
    }
    let hidden = |s: &Option<Space>| matches!(s, Some(Space::Private | Space::Shared));
    // The router's own outer address counts most: a second hop of private space may be a provider's unseen wiring.
    if hidden(&between[0]) || providers {
        return Some(Translators::Several { providers });
    }
    match (router_outer, seen) {
        (Some(outer), Some(seen)) if outer == seen => Some(Translators::One),
        (Some(_), Some(_)) => Some(Translators::Several { providers }),
        _ => (seen.is_some() || space(own) != Space::Outside).then_some(Translators::Some),
    }
}

/// The prefix by which a resolver translates: its addresses for `ipv4only.arpa` hold one of the well-known IPv4
/// addresses, 192.0.0.170 and 192.0.0.171, at one of the places of RFC 6052 section 2.2 (RFC 7050 section 3).
pub fn translation_prefix(answers: &[IpAddr]) -> Option<(Ipv6Addr, u8)> {
    answers.iter().find_map(|a| match a {
        IpAddr::V6(a) => [96, 64, 56, 48, 40, 32].into_iter().find_map(|bits| prefix(*a, bits)),
        IpAddr::V4(_) => None,
    })
}

fn prefix(address: Ipv6Addr, bits: u8) -> Option<(Ipv6Addr, u8)> {
    let all = address.octets();
    let mut four = [0; 4];
    let mut at = usize::from(bits / 8);
    for octet in &mut four {
        // Bits 64 to 71 are not used, and zero.
        if at == 8 {
            if all[8] != 0 {
                return None;
            }
            at += 1;
        }
        *octet = all[at];
        at += 1;
    }
    let well_known = [Ipv4Addr::new(192, 0, 0, 170), Ipv4Addr::new(192, 0, 0, 171)];
    if !well_known.contains(&four.into()) || all[at..].iter().any(|b| *b != 0) {
        return None;
    }
    let mut kept = [0; 16];
    let whole = usize::from(bits / 8);
    kept[..whole].copy_from_slice(&all[..whole]);
    Some((kept.into(), bits))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().expect("an address")
    }

    /// The well-known prefix (RFC 6052 section 2.1) as RFC 7050 section 3 prints it, and the six lengths in the layout of the
    /// table in RFC 6052 section 2.4 with 192.0.0.170 (c0.00.00.aa) in place of its 192.0.2.33.
    #[test]
    fn prefixes_are_found_where_rfc_6052_puts_them() {
        for (answer, found) in [
            ("64:ff9b::192.0.0.170", Some(("64:ff9b::", 96))),
            ("64:ff9b::192.0.0.171", Some(("64:ff9b::", 96))),
            ("2001:db8:c000:aa::", Some(("2001:db8::", 32))),
            ("2001:db8:1c0:0:aa::", Some(("2001:db8:100::", 40))),
            ("2001:db8:122:c000:0:aa00::", Some(("2001:db8:122::", 48))),
            ("2001:db8:122:3c0:0:aa::", Some(("2001:db8:122:300::", 56))),
            ("2001:db8:122:344:c0:0:aa00:0", Some(("2001:db8:122:344::", 64))),
            ("2001:db8:122:344::192.0.0.171", Some(("2001:db8:122:344::", 96))),
            ("64:ff9b::192.0.2.33", None),
            ("2001:db8::1", None),
            ("192.0.0.170", None),
        ] {
            let found = found.map(|(p, bits)| (p.parse().expect("a prefix"), bits));
            assert_eq!(translation_prefix(&[ip(answer)]), found, "{answer}");
        }
        assert_eq!(translation_prefix(&[]), None);
    }

    /// RFC 1918 section 3 and RFC 6598 section 7: the blocks and the addresses beside them.
    #[test]
    fn spaces_end_where_the_rfcs_say() {
        for (address, s) in [
            ("10.0.0.1", Space::Private),
            ("172.15.255.255", Space::Outside),
            ("172.31.255.255", Space::Private),
            ("192.168.0.1", Space::Private),
            ("100.63.255.255", Space::Outside),
            ("100.64.0.0", Space::Shared),
            ("100.127.255.255", Space::Shared),
            ("100.128.0.0", Space::Outside),
            ("169.254.1.1", Space::Local),
            ("2001:db8::1", Space::Outside),
            ("::ffff:10.0.0.1", Space::Private),
        ] {
            assert_eq!(space(ip(address)), s, "{address}");
        }
    }

    #[test]
    fn the_boxes_that_translate_are_counted_as_far_as_addresses_tell() {
        let count = |outer: Option<&str>, hop: Option<&str>, seen: Option<&str>| {
            translators(ip("192.168.1.20"), outer.map(ip), hop.map(ip), seen.map(ip))
        };
        let providers = Some(Translators::Several { providers: true });
        assert_eq!(count(Some("203.0.113.5"), Some("203.0.113.1"), Some("203.0.113.5")), Some(Translators::One));
        assert_eq!(
            count(Some("192.168.0.2"), None, Some("203.0.113.5")),
            Some(Translators::Several { providers: false })
        );
        assert_eq!(count(Some("100.64.1.2"), None, None), providers);
        assert_eq!(count(None, Some("100.64.1.1"), Some("203.0.113.5")), providers);
        assert_eq!(
            count(Some("203.0.113.5"), None, Some("198.51.100.7")),
            Some(Translators::Several { providers: false })
        );
        assert_eq!(count(None, Some("10.0.0.1"), Some("203.0.113.5")), Some(Translators::Some), "may be its wiring");
        assert_eq!(count(None, None, None), Some(Translators::Some), "its own address is private");
        let own = ip("203.0.113.9");
        assert_eq!(translators(own, None, None, Some(own)), Some(Translators::None));
        assert_eq!(translators(own, None, None, None), None);
        assert_eq!(translators(ip("2001:db8::9"), None, None, None), None);
    }
}
