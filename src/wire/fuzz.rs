//! Fuzz bodies: any bytes at all must be read without a panic, and what is read keeps its bounds. A body panics only
//! where a parser breaks that promise.
#![allow(clippy::missing_panics_doc, reason = "panicking is how a fuzz body reports; said once above")]

use super::{dns, icmp};

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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_bytes_do(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
            super::icmp(&bytes);
            super::dns(&bytes);
        }
    }
}
