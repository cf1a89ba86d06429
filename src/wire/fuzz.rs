//! Fuzz bodies: one per parser. Each feeds it the bytes and asserts what must hold for any input. They run for a bounded
//! time in the tests and under any fuzzer that links this crate.
#![allow(clippy::missing_panics_doc, reason = "to panic is how a fuzz body speaks")]

use super::{arp, dhcp, dns, icmp, lease_file};
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
        assert!(lease.address.is_some() && lease.from.is_some());
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
