//! Fuzz bodies: one per parser. Each feeds it the bytes and asserts what must hold for any input. They run for a bounded
//! time in the tests and under any fuzzer that links this crate.
#![allow(clippy::missing_panics_doc, reason = "to panic is how a fuzz body speaks")]

use super::{arp, dhcp, dns, host_field, http, icmp, lease_file, ntp, nut, power_supply, snmp, stun, upnp};
use crate::judge::Lease;

/// [`arp::parse`]: whatever reads, reads the same again without its padding.
pub fn arp(bytes: &[u8]) {
    if let Some(said) = arp::parse(bytes) {
        assert_eq!(arp::parse(&bytes[..arp::FRAME]), Some(said));
    }
}

/// [`dhcp::offer`] and [`dhcp::reply`]: lists stay within their caps.
pub fn dhcp(bytes: &[u8]) {
    let xid = bytes.get(46..50).and_then(|b| b.try_into().ok()).map_or(0, u32::from_be_bytes);
    if let Ok(Some(lease)) = dhcp::offer(bytes, xid) {
        assert!(lease.from.is_some() && (lease.address.is_some() || lease.ipv6_only_s.is_some()));
        sound(&lease);
    }
    if let Ok(Some(reply)) = dhcp::reply(bytes) {
        sound(&reply.lease);
    }
}

/// [`lease_file::networkd`] and [`lease_file::network_manager`].
pub fn lease_networkd(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for lease in [lease_file::networkd(&text), lease_file::network_manager(&text)].into_iter().flatten() {
        recorded(&lease);
    }
}

/// [`lease_file::dhclient`].
pub fn lease_dhclient(bytes: &[u8]) {
    if let Some(lease) = lease_file::dhclient(&String::from_utf8_lossy(bytes), "eth0") {
        recorded(&lease);
    }
}

/// [`lease_file::dhcpcd`].
pub fn lease_dhcpcd(bytes: &[u8]) {
    if let Some(lease) = lease_file::dhcpcd(bytes) {
        recorded(&lease);
    }
}

fn recorded(lease: &Lease) {
    assert!(lease.address.is_some() && lease.recorded_by.is_some());
    sound(lease);
}

fn sound(lease: &Lease) {
    assert!(lease.routers.len() <= dhcp::MOST_ADDRESSES && lease.resolvers.len() <= dhcp::MOST_ADDRESSES);
    assert!(lease.prefix.is_none_or(|bits| bits <= 32));
    assert!(lease.portal.as_ref().is_none_or(|p| p.len() <= 255));
}

/// [`host_field::is_ours`]: what names an address is nothing but one, and a name more never shuts anybody out.
pub fn host_field(bytes: &[u8]) {
    let names = ["agent.home.arpa".to_owned()];
    if host_field::is_ours(bytes, &[]) {
        assert!(host_field::is_ours(bytes, &names));
        let localhost = bytes.len() >= 9 && bytes[..9].eq_ignore_ascii_case(b"localhost");
        assert!(localhost || bytes.iter().all(|b| b.is_ascii_hexdigit() || b".:[]".contains(b)));
    }
}

/// Any bytes as ICMP, in every place we read it.
pub fn icmp(bytes: &[u8]) {
    for family in [icmp::Family::V4, icmp::Family::V6] {
        let _ = icmp::reply(family, bytes);
        let _ = icmp::own_request(family, bytes);
        let _ = icmp::own_request_at_end(family, bytes);
        if let [kind, code, ..] = *bytes {
            let _ = icmp::outcome(family, kind, code);
        }
    }
    if let Some(inner) = icmp::inside_ipv4(bytes) {
        assert!(inner.len() <= bytes.len());
        let _ = icmp::reply(icmp::Family::V4, inner);
    }
}

/// Any bytes as a DNS reply, also with our id and question put in front so that the record parser is reached.
pub fn dns(bytes: &[u8]) {
    let asked = dns::Asked::root_servers();
    check(&asked, bytes);
    let mut reply = asked.query(0);
    reply[2] |= 0x80;
    reply.truncate(17);
    if let Some((counts, records)) = bytes.split_first_chunk::<4>() {
        reply[3] = counts[0];
        reply[7] = counts[1];
        reply[9] = counts[2];
        reply[11] = counts[3];
        reply.extend_from_slice(records);
        check(&asked, &reply);
    }
}

fn check(asked: &dns::Asked, reply: &[u8]) {
    if let dns::Checked::Answer(a) = asked.check(0, reply) {
        assert!(a.addresses.len() <= dns::ADDRESSES);
    }
}

/// Any bytes as lines of a NUT server, in one piece and in two.
pub fn nut(bytes: &[u8]) {
    let sound = |said: &nut::Said| {
        assert!(!matches!(said, nut::Said::Mains(m) if m.charge_percent.is_some_and(|c| c > 100)));
        assert!(
            !matches!(said, nut::Said::Refused(word) if !word.bytes().all(|b| b.is_ascii_uppercase() || b == b'-'))
        );
    };
    let whole = nut::Exchange::new("house").take(bytes);
    whole.iter().for_each(sound);
    let (first, second) = bytes.split_at(bytes.len() / 2);
    let mut in_two = nut::Exchange::new("house");
    let early = in_two.take(first);
    assert_eq!(early.or_else(|| in_two.take(second)), whole);
}

/// Any bytes as an answer of an SNMP agent.
pub fn snmp(bytes: &[u8]) {
    if snmp::read(bytes, "public", 7).is_some() {
        assert!(bytes.len() > 20 && bytes.windows(6).any(|w| w == b"public"));
    }
}

/// Attributes of power supplies, one a line.
pub fn power_supply(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text.lines().map(str::to_owned);
    let supplies: Vec<power_supply::Supply> =
        (0..3).map(|_| std::array::from_fn(|_| lines.next().unwrap_or_default())).collect();
    if let Some(mains) = power_supply::mains(&supplies) {
        assert!(mains.charge_percent.is_none_or(|c| c <= 100));
    }
}

/// Any bytes as each answer of a router that speaks UPnP: whatever place is read is on the gateway.
pub fn upnp(bytes: &[u8]) {
    let gateway = std::net::Ipv4Addr::new(192, 0, 2, 1);
    let from = upnp::Place { port: 80, path: "/".into() };
    if let Ok(place) = upnp::found(bytes, gateway) {
        assert!(place.path.starts_with('/') && !place.path.contains(['\r', '\n', ' ']));
        assert_eq!(upnp::get(gateway, &place).matches("\r\n").count(), 4);
    }
    if let Ok(services) = upnp::services(bytes, gateway, &from) {
        assert!((1..=upnp::MOST_SERVICES).contains(&services.len()));
        for service in &services {
            assert!(service.control.path.starts_with('/') && !service.control.path.contains(['\r', '\n', ' ']));
        }
    }
    let _ = upnp::status(bytes);
    let _ = upnp::outer(bytes);
}

/// Any bytes as an HTTP answer that is wanted whole, in one piece and in two: a body is never longer than was allowed.
pub fn http_whole(bytes: &[u8]) {
    const MOST: usize = 100;
    let mut whole = http::Incoming::new(http::Wanted::Whole(MOST));
    let at_once = whole.take(bytes);
    if let Ok(Some(answer)) = &at_once {
        assert!(answer.body.len() <= MOST);
    }
    if let Ok(answer) = whole.end() {
        assert!(answer.body.len() <= MOST);
    }
    let (first, second) = bytes.split_at(bytes.len() / 2);
    let mut in_two = http::Incoming::new(http::Wanted::Whole(MOST));
    match in_two.take(first) {
        Ok(None) => assert_eq!(in_two.take(second), at_once),
        Ok(Some(early)) => assert!(early.body.len() <= MOST),
        Err(_) => {}
    }
}

/// Any bytes as a STUN reply, also behind a sound header so that the attributes are reached.
pub fn stun(bytes: &[u8]) {
    let id = [7; 12];
    let _ = stun::check(&id, bytes);
    let mut reply = stun::request(id, None);
    reply[0] = 1;
    let length = u16::try_from(bytes.len()).unwrap_or(0);
    reply[2..4].copy_from_slice(&length.to_be_bytes());
    reply.extend_from_slice(bytes);
    if let stun::Checked::Mapped { seen, .. } = stun::check(&id, &reply) {
        assert!(seen.port() != 0 && !seen.ip().is_unspecified());
    }
}

/// Any bytes as an SNTP reply, also with our cookie where it belongs; whatever they say, the bound is no less than half
/// the way and the server's distance.
pub fn ntp(bytes: &[u8]) {
    let _ = ntp::check(0, bytes);
    let mut reply = bytes.to_vec();
    reply.resize(ntp::HEADER.max(bytes.len()), 0);
    reply[24..32].copy_from_slice(&9_u64.to_be_bytes());
    if let ntp::Checked::Times(t) = ntp::check(9, &reply) {
        let took = crate::judge::Micros(50_000);
        if let Some((_, error)) = ntp::offset(t.received, took, &t) {
            assert!(error >= t.distance && error <= t.distance + took, "{t:?} {error:?}");
        }
    }
}

/// Any bytes as a control page, in one piece and in two: it comes to an end, within bounds.
pub fn http(bytes: &[u8]) {
    let expected = http::Expected { status: 200, body: Some("yes".into()) };
    let cut = bytes.first().map_or(0, |b| usize::from(*b).min(bytes.len()));
    let read = |parts: &[&[u8]]| {
        let mut incoming = http::Incoming::new(expected.wanted());
        for part in parts {
            if let Some(came) = incoming.take(part)? {
                return Ok(came);
            }
        }
        incoming.end()
    };
    for came in [read(&[bytes]), read(&[&bytes[..cut], &bytes[cut..]])].into_iter().flatten() {
        assert!(came.body.len() <= http::BODY);
        let web = expected.compare(came);
        assert!((200..600).contains(&web.status));
        assert!(web.redirected_to.is_none_or(|h| h.len() <= 255));
    }
}
