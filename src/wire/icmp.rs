//! ICMP echo and ICMP errors (RFC 792, RFC 4443): bytes to values and back.
//!
//! Decides what an echo request looks like, which packet is a reply to it, and what an error's type and code mean as an
//! outcome. Does not match replies to requests: the probe's machine does.

use crate::judge::{Outcome, Unreachable};
use pnet::packet::icmp;
use pnet::packet::icmp::{IcmpPacket, IcmpTypes, echo_request::MutableEchoRequestPacket};
use pnet::packet::icmpv6::{Icmpv6Types, echo_request::MutableEchoRequestPacket as MutableEchoRequestPacketV6};

/// Length of the ICMP echo header.
pub const HEADER: usize = 8;
/// Length of the data we send. Long enough that no driver pads the frame, so a looped-back copy ends with our message.
pub const DATA: usize = 32;
/// Length of our whole message.
pub const MESSAGE: usize = HEADER + DATA;

/// IP version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// IPv4: ICMP.
    V4,
    /// IPv6: its own ICMP.
    V6,
}

impl Family {
    /// The family of an address.
    pub const fn of(address: std::net::IpAddr) -> Self {
        match address {
            std::net::IpAddr::V4(_) => Self::V4,
            std::net::IpAddr::V6(_) => Self::V6,
        }
    }
}

/// An echo request or reply: what makes it ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Echo {
    /// Identifier; on a datagram ping socket the kernel writes its own.
    pub id: u16,
    /// Sequence number.
    pub seq: u16,
    /// The first eight bytes of the data, where there are as many. ICMP errors may carry none of it.
    pub token: Option<u64>,
}

/// Builds an echo request. The checksum of the IPv6 form is left to the kernel, which alone knows the addresses.
pub fn request(family: Family, id: u16, seq: u16, token: u64) -> [u8; MESSAGE] {
    let mut message = [0u8; MESSAGE];
    fill(&mut message, family, id, seq, token);
    message
}

/// Builds an echo request that makes an IP packet of `packet` octets (RFC 791 and RFC 8200 headers without options); no
/// smaller than [`request`]'s.
pub fn request_of(family: Family, id: u16, seq: u16, token: u64, packet: u16) -> Vec<u8> {
    let header = match family {
        Family::V4 => 20,
        Family::V6 => 40,
    };
    let mut message = vec![0u8; usize::from(packet).saturating_sub(header).max(MESSAGE)];
    fill(&mut message, family, id, seq, token);
    message
}

fn fill(message: &mut [u8], family: Family, id: u16, seq: u16, token: u64) {
    message[HEADER..HEADER + 8].copy_from_slice(&token.to_be_bytes());
    match family {
        Family::V4 => {
            if let Some(mut p) = MutableEchoRequestPacket::new(message) {
                p.set_icmp_type(IcmpTypes::EchoRequest);
                p.set_identifier(id);
                p.set_sequence_number(seq);
            }
            let sum = IcmpPacket::new(message).map_or(0, |p| icmp::checksum(&p));
            message[2..4].copy_from_slice(&sum.to_be_bytes());
        }
        Family::V6 => {
            if let Some(mut p) = MutableEchoRequestPacketV6::new(message) {
                p.set_icmpv6_type(Icmpv6Types::EchoRequest);
                p.set_identifier(id);
                p.set_sequence_number(seq);
            }
        }
    }
}

/// Reads an echo reply (type 0, or 129 in IPv6; code 0). `None` for anything else.
pub fn reply(family: Family, message: &[u8]) -> Option<Echo> {
    let kind = match family {
        Family::V4 => IcmpTypes::EchoReply.0,
        Family::V6 => Icmpv6Types::EchoReply.0,
    };
    read(message, kind)
}

/// Reads our own echo request where the kernel or a router gives it back: inside an ICMP error, of which only the
/// first eight bytes are certain (RFC 792).
pub fn own_request(family: Family, message: &[u8]) -> Option<Echo> {
    let kind = match family {
        Family::V4 => IcmpTypes::EchoRequest.0,
        Family::V6 => Icmpv6Types::EchoRequest.0,
    };
    read(message, kind)
}

/// Reads our own echo request at the end of a frame the kernel loops back with its send time; the headers before it
/// differ by link.
pub fn own_request_at_end(family: Family, frame: &[u8]) -> Option<Echo> {
    own_request(family, frame.get(frame.len().checked_sub(MESSAGE)?..)?)
}

/// The ICMP message inside a raw IPv4 packet (header length from its own field, RFC 791). `None` if it is no ICMP or
/// its checksum is wrong: raw sockets see packets before the kernel looks.
pub fn inside_ipv4(packet: &[u8]) -> Option<&[u8]> {
    let ip = pnet::packet::ipv4::Ipv4Packet::new(packet)?;
    let start = usize::from(ip.get_header_length()) * 4;
    let icmp = ip.get_version() == 4 && start >= 20 && ip.get_next_level_protocol().0 == 1;
    icmp.then(|| packet.get(start..)).flatten().filter(|m| checksum_holds(m))
}

/// What an ICMP error means. `None` where the type is no error.
///
/// IPv4: RFC 792, RFC 1122 section 3.2.2.1, RFC 1812 section 5.2.7.1. IPv6: RFC 4443 section 3; its codes 5 and 6 are
/// "more informative subsets of code 1", forbidden by a filter.
pub fn outcome(family: Family, kind: u8, code: u8) -> Option<Outcome> {
    let what = match (family, kind, code) {
        (Family::V4, 3, 0 | 6 | 11) | (Family::V6, 1, 0) => Unreachable::Net,
        (Family::V4, 3, 1 | 7 | 8 | 12) | (Family::V6, 1, 3) => Unreachable::Host,
        (Family::V4, 3, 3) | (Family::V6, 1, 4) => Unreachable::Port,
        (Family::V4, 3, 9 | 10 | 13) | (Family::V6, 1, 1 | 5 | 6) => Unreachable::Prohibited,
        (Family::V4, 3 | 11 | 12, _) | (Family::V6, 1..=4, _) => Unreachable::Other,
        _ => return None,
    };
    Some(Outcome::Unreachable(what))
}

fn read(message: &[u8], kind: u8) -> Option<Echo> {
    let header = message.first_chunk::<HEADER>()?;
    if header[0] != kind || header[1] != 0 {
        return None;
    }
    Some(Echo {
        id: u16::from_be_bytes([header[4], header[5]]),
        seq: u16::from_be_bytes([header[6], header[7]]),
        token: message[HEADER..].first_chunk().copied().map(u64::from_be_bytes),
    })
}

fn checksum_holds(message: &[u8]) -> bool {
    IcmpPacket::new(message).is_some_and(|p| icmp::checksum(&p) == p.get_checksum())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 1071 section 1: the one's complement sum of 16-bit words over data and checksum is all ones. Computed here
    /// word by word, apart from the library that wrote it.
    fn sums_to_all_ones(message: &[u8]) -> bool {
        let mut sum: u32 = message.chunks(2).map(|w| u32::from(w[0]) << 8 | u32::from(*w.get(1).unwrap_or(&0))).sum();
        while sum >> 16 != 0 {
            sum = (sum & 0xffff) + (sum >> 16);
        }
        sum == 0xffff
    }

    #[test]
    fn a_request_is_as_rfc_792_draws_it() {
        let m = request(Family::V4, 0x1234, 7, 0x0102_0304_0506_0708);
        assert_eq!(m.len(), 40);
        assert_eq!(&m[..2], &[8, 0]);
        assert_eq!(&m[4..16], &[0x12, 0x34, 0, 7, 1, 2, 3, 4, 5, 6, 7, 8]);
        assert!(sums_to_all_ones(&m) && checksum_holds(&m));
        let six = request(Family::V6, 0x1234, 7, 9);
        assert_eq!(&six[..8], &[128, 0, 0, 0, 0x12, 0x34, 0, 7]);
    }

    #[test]
    fn a_request_of_a_size_makes_a_packet_of_that_size() {
        assert_eq!(request_of(Family::V4, 1, 2, 3, 1_500).len() + 20, 1_500);
        assert_eq!(request_of(Family::V6, 1, 2, 3, 1_280).len() + 40, 1_280);
        assert_eq!(request_of(Family::V4, 1, 2, 3, 60)[..], request(Family::V4, 1, 2, 3)[..]);
        assert!(sums_to_all_ones(&request_of(Family::V4, 1, 2, 3, 1_499)));
    }

    #[test]
    fn only_replies_are_replies() {
        let mut m = request(Family::V4, 5, 6, 7);
        assert_eq!(reply(Family::V4, &m), None, "our own request, as a raw socket on loopback sees it");
        assert_eq!(own_request(Family::V4, &m[..8]), Some(Echo { id: 5, seq: 6, token: None }));
        let mut frame = vec![0xaa; 34];
        frame.extend_from_slice(&m);
        assert_eq!(own_request_at_end(Family::V4, &frame), Some(Echo { id: 5, seq: 6, token: Some(7) }));
        m[0] = 0;
        assert_eq!(reply(Family::V4, &m), Some(Echo { id: 5, seq: 6, token: Some(7) }));
        m[1] = 1;
        assert_eq!(reply(Family::V4, &m), None, "code must be 0");
        assert_eq!(reply(Family::V4, &m[..7]), None);
        assert_eq!(own_request_at_end(Family::V4, &[]), None);
    }

    #[test]
    fn a_raw_packet_gives_up_its_message() {
        let mut packet = vec![0u8; 24];
        packet[0] = 0x46;
        packet[9] = 1;
        let message = request(Family::V4, 1, 2, 3);
        packet.extend_from_slice(&message);
        assert_eq!(inside_ipv4(&packet), Some(&message[..]));
        packet[63] ^= 1;
        assert_eq!(inside_ipv4(&packet), None, "checksum");
        packet[63] ^= 1;
        packet[9] = 17;
        assert_eq!(inside_ipv4(&packet), None);
        packet[9] = 1;
        packet[0] = 0x4f;
        assert_eq!(inside_ipv4(&packet), None, "header longer than it is");
        assert_eq!(inside_ipv4(&packet[..30]), None, "header longer than the packet");
        packet[0] = 0x41;
        assert_eq!(inside_ipv4(&packet), None, "header shorter than a header");
    }

    /// RFC 792 p. 4, RFC 1812 section 5.2.7.1 and RFC 4443 section 3.1: types and codes as printed there.
    #[test]
    fn errors_mean_what_the_rfcs_say() {
        use Unreachable as U;
        for (family, kind, code, what) in [
            (Family::V4, 3, 0, Some(U::Net)),
            (Family::V4, 3, 1, Some(U::Host)),
            (Family::V4, 3, 3, Some(U::Port)),
            (Family::V4, 3, 4, Some(U::Other)),
            (Family::V4, 3, 13, Some(U::Prohibited)),
            (Family::V4, 11, 0, Some(U::Other)),
            (Family::V4, 0, 0, None),
            (Family::V4, 5, 1, None),
            (Family::V6, 1, 0, Some(U::Net)),
            (Family::V6, 1, 1, Some(U::Prohibited)),
            (Family::V6, 1, 3, Some(U::Host)),
            (Family::V6, 1, 4, Some(U::Port)),
            (Family::V6, 1, 6, Some(U::Prohibited)),
            (Family::V6, 3, 0, Some(U::Other)),
            (Family::V6, 129, 0, None),
        ] {
            assert_eq!(outcome(family, kind, code), what.map(Outcome::Unreachable), "{family:?} {kind} {code}");
        }
    }
}
