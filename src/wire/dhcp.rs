//! DHCP over Ethernet: the one message we send, a DHCPDISCOVER, and the offers that answer it (RFC 2131, RFC 2132).
//!
//! Decides what an offer says. Never builds a DHCPREQUEST. A bad UDP checksum does not disqualify a packet: on a
//! virtual link, and behind checksum offload, a packet socket sees it unfinished. Long options are joined (RFC 3396) and
//! the `file` and `sname` fields are read where option 52 says so; the header codec is the `dhcproto` crate, the option
//! walk is ours because that crate stops at the first option it can't read, asserts on some, and does not know option 52.

use super::arp::{from_pnet, to_pnet};
use crate::judge::{Lease, Mac};
use dhcproto::v4::{DhcpOption, Flags, HType, Message, MessageType, Opcode, OptionCode};
use dhcproto::{Decodable, Decoder, Encodable, Encoder};
use pnet::packet::ethernet::{EtherTypes, EthernetPacket, MutableEthernetPacket};
use pnet::packet::ip::IpNextHeaderProtocols;
use pnet::packet::ipv4::{self, Ipv4Packet, MutableIpv4Packet};
use pnet::packet::udp::{self, MutableUdpPacket, UdpPacket};
use pnet::util::MacAddr;
use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv4Addr};

/// Most addresses kept of one list option.
pub const MOST_ADDRESSES: usize = 8;

const SERVER_PORT: u16 = 67;
const CLIENT_PORT: u16 = 68;
/// Fixed part of a message before the option area, without the magic cookie (RFC 2131 section 2).
const FIXED: usize = 236;
const COOKIE: [u8; 4] = [99, 130, 83, 99];
const HEADERS: usize = 14 + 20 + 8;
/// A BOOTP relay may drop anything shorter (RFC 1542 section 2.1).
const LEAST_MESSAGE: usize = 300;

/// Why a packet to our port is no usable offer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Malformed {
    /// Shorter than its headers say.
    #[error("cut short")]
    Short,
    /// No DHCP cookie, or an option without end.
    #[error("options make no sense")]
    Options,
    /// An offer without an address or with an impossible one.
    #[error("offers no usable address")]
    NoAddress,
}

/// An Ethernet frame with a DHCPDISCOVER for `mac`, to everyone, asking for a broadcast answer. The client identifier is
/// the hardware address (type 1), as a plain client would send. Asks for no address and renews none.
pub fn discover(mac: Mac, xid: u32) -> Vec<u8> {
    let mut message = Message::default();
    message.set_opcode(Opcode::BootRequest).set_htype(HType::Eth).set_xid(xid);
    message.set_flags(Flags::default().set_broadcast()).set_chaddr(&mac.0);
    let options = message.opts_mut();
    options.insert(DhcpOption::MessageType(MessageType::Discover));
    options.insert(DhcpOption::ClientIdentifier([&[1][..], &mac.0].concat()));
    options.insert(DhcpOption::ParameterRequestList(vec![
        OptionCode::SubnetMask,
        OptionCode::Router,
        OptionCode::DomainNameServer,
        OptionCode::AddressLeaseTime,
        OptionCode::ServerIdentifier,
        OptionCode::Renewal,
        OptionCode::Rebinding,
        // Asked for so that a network that has them says so; only an offer is heard, nothing is followed.
        OptionCode::from(code::IPV6_ONLY),
        OptionCode::from(code::PORTAL),
    ]));
    let mut payload = Vec::with_capacity(LEAST_MESSAGE);
    // Encoding into memory fails only for options over 255 bytes that can't be split; these are all under 16.
    let _ = message.encode(&mut Encoder::new(&mut payload));
    payload.resize(payload.len().max(LEAST_MESSAGE), 0);
    wrap(mac, &payload)
}

fn wrap(mac: Mac, payload: &[u8]) -> Vec<u8> {
    let mut frame = vec![0; HEADERS + payload.len()];
    frame[HEADERS..].copy_from_slice(payload);
    if let Some(mut ethernet) = MutableEthernetPacket::new(&mut frame) {
        ethernet.set_destination(MacAddr::broadcast());
        ethernet.set_source(to_pnet(mac));
        ethernet.set_ethertype(EtherTypes::Ipv4);
    }
    if let Some(mut datagram) = MutableUdpPacket::new(&mut frame[34..]) {
        datagram.set_source(CLIENT_PORT);
        datagram.set_destination(SERVER_PORT);
        datagram.set_length((8 + payload.len()) as u16);
        let sum = udp::ipv4_checksum(&datagram.to_immutable(), &Ipv4Addr::UNSPECIFIED, &Ipv4Addr::BROADCAST);
        datagram.set_checksum(sum);
    }
    if let Some(mut packet) = MutableIpv4Packet::new(&mut frame[14..]) {
        packet.set_version(4);
        packet.set_header_length(5);
        packet.set_total_length((HEADERS - 14 + payload.len()) as u16);
        packet.set_ttl(64);
        packet.set_next_level_protocol(IpNextHeaderProtocols::Udp);
        packet.set_source(Ipv4Addr::UNSPECIFIED);
        packet.set_destination(Ipv4Addr::BROADCAST);
        packet.set_checksum(ipv4::checksum(&packet.to_immutable()));
    }
    frame
}

/// Reads an Ethernet frame heard while waiting for offers.
///
/// `Ok(None)`: not a DHCP answer to a client, or one of another kind or for another transaction than `xid`; none of our
/// business. `Ok(Some(lease))`: an offer for us. `Err`: meant for us, but no usable offer; counted as discarded.
pub fn offer(frame: &[u8], xid: u32) -> Result<Option<Lease>, Malformed> {
    let Some((from, payload)) = datagram(frame) else { return Ok(None) };
    let Some(message) = reply(payload)? else { return Ok(None) };
    if message.xid != xid || message.kind != Some(MessageType::Offer) {
        return Ok(None);
    }
    // RFC 8925 section 3.3 lets a server that offers "IPv6 only" keep its IPv4 addresses for others.
    if message.lease.address.is_none() && message.lease.ipv6_only_s.is_none() {
        return Err(Malformed::NoAddress);
    }
    Ok(Some(Lease { from: Some(from), ..message.lease }))
}

/// What a server's message says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// Transaction.
    pub xid: u32,
    /// Message type (option 53); `None` in plain BOOTP.
    pub kind: Option<MessageType>,
    /// The lease in it.
    pub lease: Lease,
}

/// Reads a server's DHCP message without its headers, as heard and as `dhcpcd` stores it. `Ok(None)` if it is a client's.
pub fn reply(payload: &[u8]) -> Result<Option<Reply>, Malformed> {
    // Only the fixed part goes to the crate: its option decoder asserts that option 94 has three bytes, and a hostile
    // server must not be able to end this process.
    let fixed = payload.get(..FIXED + COOKIE.len()).ok_or(Malformed::Short)?;
    let message = Message::decode(&mut Decoder::new(fixed)).map_err(|_| Malformed::Short)?;
    if message.opcode() != Opcode::BootReply {
        return Ok(None);
    }
    let options = options(payload)?;
    let address = |code| options.get(&code).and_then(|b| <[u8; 4]>::try_from(&b[..]).ok());
    let number = |code| address(code).map(u32::from_be_bytes);
    let list = |code| -> Vec<IpAddr> {
        let bytes: &[u8] = options.get(&code).map_or(&[], |b| b);
        bytes.as_chunks::<4>().0.iter().take(MOST_ADDRESSES).map(|&a| IpAddr::from(a)).collect()
    };
    let kind = options.get(&code::KIND).filter(|b| b.len() == 1).map(|b| MessageType::from(b[0]));
    Ok(Some(Reply {
        xid: message.xid(),
        kind,
        lease: Lease {
            address: usable(message.yiaddr()).map(IpAddr::V4),
            server: address(code::SERVER).map(IpAddr::from),
            lease_s: number(code::LEASE),
            renew_s: number(code::RENEW),
            rebind_s: number(code::REBIND),
            prefix: address(code::MASK).and_then(|m| prefix(m.into())),
            routers: list(code::ROUTERS),
            resolvers: list(code::RESOLVERS),
            from: None,
            recorded_by: None,
            ipv6_only_s: number(code::IPV6_ONLY),
            portal: options.get(&code::PORTAL).and_then(|b| portal(b)),
        },
    }))
}

/// Prefix length of a mask; `None` where its ones are not contiguous.
pub fn prefix(mask: Ipv4Addr) -> Option<u8> {
    let bits = mask.to_bits();
    (bits.leading_ones() == bits.count_ones()).then_some(bits.leading_ones() as u8)
}

/// Option codes read here (RFC 2132).
mod code {
    pub(super) const MASK: u8 = 1;
    pub(super) const ROUTERS: u8 = 3;
    pub(super) const RESOLVERS: u8 = 6;
    pub(super) const LEASE: u8 = 51;
    pub(super) const OVERLOAD: u8 = 52;
    pub(super) const KIND: u8 = 53;
    pub(super) const SERVER: u8 = 54;
    pub(super) const RENEW: u8 = 58;
    pub(super) const REBIND: u8 = 59;
    /// RFC 8925.
    pub(super) const IPV6_ONLY: u8 = 108;
    /// RFC 8910.
    pub(super) const PORTAL: u8 = 114;
    pub(super) const ALL: [u8; 11] =
        [MASK, ROUTERS, RESOLVERS, LEASE, OVERLOAD, KIND, SERVER, RENEW, REBIND, IPV6_ONLY, PORTAL];
}

/// A URL is ASCII (RFC 3986 section 2); anything else is not repeated. RFC 8910 section 2 lets a server send
/// "urn:ietf:params:capport:unrestricted" where there is no portal.
fn portal(bytes: &[u8]) -> Option<String> {
    let text = std::str::from_utf8(bytes).ok()?.trim_end_matches('\0');
    let sound = (1..=255).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_graphic());
    (sound && text != "urn:ietf:params:capport:unrestricted").then(|| text.to_owned())
}

fn usable(address: Ipv4Addr) -> Option<Ipv4Addr> {
    let junk = address.is_unspecified() || address.is_broadcast() || address.is_multicast() || address.is_loopback();
    (!junk).then_some(address)
}

/// The hardware sender and UDP payload of an untagged, unfragmented IPv4 datagram to a DHCP client.
fn datagram(frame: &[u8]) -> Option<(Mac, &[u8])> {
    let ethernet = EthernetPacket::new(frame).filter(|e| e.get_ethertype() == EtherTypes::Ipv4)?;
    let from = from_pnet(ethernet.get_source());
    let body = &frame[14..];
    let packet = Ipv4Packet::new(body)?;
    let header = usize::from(packet.get_header_length()) * 4;
    // Flag bit 0 is "more fragments" here: pnet numbers the three flag bits as one value, 0b001 = MF.
    let whole = packet.get_fragment_offset() == 0 && packet.get_flags() & 1 == 0;
    let udp = packet.get_next_level_protocol() == IpNextHeaderProtocols::Udp;
    if packet.get_version() != 4 || header < 20 || !whole || !udp {
        return None;
    }
    // Ethernet pads short frames: the IP length rules, where the frame holds that much.
    let end = usize::from(packet.get_total_length()).min(body.len());
    let segment = body.get(header..end)?;
    let datagram = UdpPacket::new(segment)?;
    if datagram.get_destination() != CLIENT_PORT || datagram.get_source() != SERVER_PORT {
        return None;
    }
    let end = usize::from(datagram.get_length()).min(segment.len());
    Some((from, segment.get(8..end).unwrap_or_default()))
}

/// The options we read, long ones joined in the order option area, `file`, `sname` (RFC 3396 sections 5 and 7).
fn options(payload: &[u8]) -> Result<BTreeMap<u8, Vec<u8>>, Malformed> {
    let area = payload.get(FIXED..).and_then(|p| p.strip_prefix(&COOKIE)).ok_or(Malformed::Options)?;
    let mut found = BTreeMap::new();
    walk(area, &mut found)?;
    let overload = found.get(&code::OVERLOAD).filter(|b| b.len() == 1).map_or(0, |b| b[0]);
    if overload & 1 != 0 {
        walk(&payload[108..FIXED], &mut found)?;
    }
    if overload & 2 != 0 {
        walk(&payload[44..108], &mut found)?;
    }
    Ok(found)
}

fn walk(mut area: &[u8], found: &mut BTreeMap<u8, Vec<u8>>) -> Result<(), Malformed> {
    const PAD: u8 = 0;
    const END: u8 = 255;
    loop {
        match area {
            // Some servers leave the end option out; what was whole so far counts.
            [] | [END, ..] => return Ok(()),
            [PAD, rest @ ..] => area = rest,
            [code, length, rest @ ..] => {
                let (value, rest) = rest.split_at_checked(usize::from(*length)).ok_or(Malformed::Options)?;
                if code::ALL.contains(code) {
                    found.entry(*code).or_default().extend_from_slice(value);
                }
                area = rest;
            }
            [_] => return Err(Malformed::Options),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const OURS: Mac = Mac([2, 0, 0, 0, 0, 1]);

    /// A server's message with the given option area, wrapped as it comes from the wire.
    fn heard(xid: u32, address: [u8; 4], area: &[u8]) -> Vec<u8> {
        let mut message = vec![0; FIXED];
        message[..4].copy_from_slice(&[2, 1, 6, 0]);
        message[4..8].copy_from_slice(&xid.to_be_bytes());
        message[16..20].copy_from_slice(&address);
        message.extend_from_slice(&COOKIE);
        message.extend_from_slice(area);
        let mut frame = wrap(Mac([2, 0, 0, 0, 0, 9]), &message);
        frame[34..38].copy_from_slice(&[0, 67, 0, 68]);
        frame
    }

    #[test]
    fn an_offer_is_read_whatever_its_checksum() {
        let mut frame = heard(7, [192, 0, 2, 50], &[53, 1, 2, 54, 4, 192, 0, 2, 1, 51, 4, 0, 0, 0, 120, 255]);
        frame[40] ^= 0x55;
        let lease = offer(&frame, 7).expect("well formed").expect("an offer");
        assert_eq!(lease.address, Some("192.0.2.50".parse().expect("literal")));
        assert_eq!((lease.lease_s, lease.from), (Some(120), Some(Mac([2, 0, 0, 0, 0, 9]))));
    }

    #[test]
    fn what_is_not_for_us_is_neither_offer_nor_fault() {
        let area = [53, 1, 2, 255];
        let good = heard(7, [192, 0, 2, 50], &area);
        assert_eq!(offer(&good, 8), Ok(None), "another transaction");
        assert_eq!(offer(&heard(7, [192, 0, 2, 50], &[53, 1, 5, 255]), 7), Ok(None), "an acknowledgement");
        assert_eq!(offer(&discover(OURS, 7), 7), Ok(None), "a client's message");
        for (at, byte) in [(12, 0x81), (14, 0x65), (23, 6), (20, 0x20), (21, 1), (37, 69)] {
            let mut frame = good.clone();
            frame[at] = byte;
            assert_eq!(offer(&frame, 7), Ok(None), "byte {at}");
        }
    }

    #[test]
    fn junk_is_counted_as_junk() {
        assert_eq!(offer(&heard(7, [192, 0, 2, 50], &[53, 1, 2, 51, 40, 0]), 7), Err(Malformed::Options));
        assert_eq!(offer(&heard(7, [0; 4], &[53, 1, 2, 255]), 7), Err(Malformed::NoAddress));
        assert_eq!(offer(&heard(7, [224, 0, 0, 1], &[53, 1, 2, 255]), 7), Err(Malformed::NoAddress));
        let whole = heard(7, [192, 0, 2, 50], &[53, 1, 2, 255]);
        assert_eq!(offer(&whole[..HEADERS + 100], 7), Err(Malformed::Short));
    }

    #[test]
    fn an_option_of_the_wrong_length_is_left_unknown_and_the_rest_is_read() {
        // Lease time of three bytes, a non-UTF-8 host name, then the server id.
        let area = [53, 1, 2, 51, 3, 0, 0, 1, 12, 2, 0xff, 0xfe, 54, 4, 192, 0, 2, 1, 1, 4, 255, 0, 255, 0, 255];
        let lease = offer(&heard(7, [192, 0, 2, 50], &area), 7).expect("well formed").expect("an offer");
        assert_eq!((lease.lease_s, lease.prefix), (None, None));
        assert_eq!(lease.server, Some("192.0.2.1".parse().expect("literal")));
    }

    #[test]
    fn a_hostile_option_does_not_end_the_process() {
        // Option 94 (RFC 4578) with two bytes: dhcproto 0.15's own option decoder asserts on it in debug builds.
        let area = [53, 1, 2, 94, 2, 1, 2, 54, 4, 192, 0, 2, 1, 255];
        let lease = offer(&heard(7, [192, 0, 2, 50], &area), 7).expect("well formed").expect("an offer");
        assert_eq!(lease.server, Some("192.0.2.1".parse().expect("literal")));
    }

    /// RFC 8925 section 3.1 (code 108, length 4, seconds) and RFC 8910 section 2.1 (code 114, a URI).
    #[test]
    fn networks_without_ipv4_and_networks_with_a_portal_say_so() {
        let url = b"https://portal.example/api";
        let area = [&[53, 1, 2, 108, 4, 0, 0, 7, 8, 114, url.len() as u8][..], url, &[255]].concat();
        let lease = offer(&heard(7, [0; 4], &area), 7).expect("well formed").expect("an offer");
        assert_eq!((lease.address, lease.ipv6_only_s), (None, Some(1_800)));
        assert_eq!(lease.portal.as_deref(), Some("https://portal.example/api"));
        let none = [&[53, 1, 2, 114, 36][..], b"urn:ietf:params:capport:unrestricted", &[255]].concat();
        for area in [&none[..], &[53, 1, 2, 114, 2, 27, 91, 255], &[53, 1, 2, 108, 1, 9, 255]] {
            let lease = offer(&heard(7, [192, 0, 2, 50], area), 7).expect("well formed").expect("an offer");
            assert_eq!((lease.ipv6_only_s, lease.portal), (None, None), "{area:?}");
        }
        // RFC 8925 section 3.1: a client asks by listing the code.
        let asked = discover(OURS, 7);
        assert!(asked.windows(11).any(|w| w[0] == 55 && w[1] == 9 && w.ends_with(&[108, 114])));
    }

    #[test]
    fn lists_are_capped() {
        let area = [&[53, 1, 2, 6, 80][..], &[192, 0, 2, 1].repeat(20), &[255]].concat();
        let lease = offer(&heard(7, [192, 0, 2, 50], &area), 7).expect("well formed").expect("an offer");
        assert_eq!(lease.resolvers.len(), MOST_ADDRESSES);
    }

    #[test]
    fn masks_become_prefixes_only_when_contiguous() {
        for (mask, bits) in [("255.255.255.0", Some(24)), ("0.0.0.0", Some(0)), ("255.0.255.0", None)] {
            assert_eq!(prefix(mask.parse().expect("literal")), bits, "{mask}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_break_the_parser(xid: u32, address: [u8; 4], area in proptest::collection::vec(any::<u8>(), 0..400), cut in 0usize..800) {
            let frame = heard(xid, address, &area);
            let _ = offer(&frame[..cut.min(frame.len())], xid);
        }
    }
}
