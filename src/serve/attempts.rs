//! How often a client may show a wrong token: a few times at once, then one now and then.
//!
//! A client that has used its attempts up is refused before its token is looked at, with the right token too: else it
//! could go on trying. Sessions are not counted: they can't be guessed at all. Bounded: so many clients are remembered, and the
//! longest silent are forgotten first.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};

/// Wrong ones at once.
const AT_ONCE: f64 = 5.0;
/// One more after so many seconds (choice: 360 an hour, against more than 2^80 tokens).
const EACH_S: f64 = 10.0;
/// Clients remembered.
const MOST: usize = 1_024;

/// Clients that have shown wrong tokens lately.
#[derive(Debug, Default)]
pub(super) struct Attempts(HashMap<IpAddr, (f64, f64)>);

impl Attempts {
    /// Whether a client may show a token now; else after how many seconds it may.
    pub(super) fn allowed(&self, peer: IpAddr, now_s: f64) -> Result<(), u64> {
        let spent = self.spent(peer, now_s);
        if spent + 1.0 <= AT_ONCE { Ok(()) } else { Err(((spent + 1.0 - AT_ONCE) * EACH_S).ceil() as u64) }
    }

    /// A client has shown a wrong token.
    pub(super) fn failed(&mut self, peer: IpAddr, now_s: f64) {
        let spent = self.spent(peer, now_s) + 1.0;
        if self.0.len() >= MOST {
            self.0.retain(|_, (at, spent)| now_s - *at < *spent * EACH_S);
        }
        if self.0.len() >= MOST
            && let Some(oldest) = self.0.iter().min_by(|a, b| a.1.0.total_cmp(&b.1.0)).map(|(who, _)| *who)
        {
            self.0.remove(&oldest);
        }
        self.0.insert(client_of(peer), (now_s, spent));
    }

    fn spent(&self, peer: IpAddr, now_s: f64) -> f64 {
        self.0.get(&client_of(peer)).map_or(0.0, |(at, spent)| (spent - (now_s - at).max(0.0) / EACH_S).max(0.0))
    }
}

/// What counts as one client: an address, or what a single IPv6 link is given (RFC 4291, section 2.5.4: 64 bits).
pub(super) fn client_of(peer: IpAddr) -> IpAddr {
    match peer.to_canonical() {
        IpAddr::V6(a) => IpAddr::V6(Ipv6Addr::from_bits(a.to_bits() >> 64 << 64)),
        v4 @ IpAddr::V4(_) => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> IpAddr {
        text.parse().expect("an address")
    }

    #[test]
    fn five_at_once_then_one_each_ten_seconds() {
        let (mut t, peer) = (Attempts::default(), at("192.0.2.7"));
        for _ in 0..5 {
            assert!(t.allowed(peer, 0.0).is_ok());
            t.failed(peer, 0.0);
        }
        assert_eq!(t.allowed(peer, 0.0), Err(10));
        assert_eq!(t.allowed(peer, 9.5), Err(1));
        assert!(t.allowed(at("192.0.2.8"), 0.0).is_ok(), "others may");
        assert!(t.allowed(peer, 10.0).is_ok());
        t.failed(peer, 10.0);
        assert_eq!(t.allowed(peer, 10.0), Err(10));
        // An hour of trying as fast as it goes.
        let heard = (0..36_000).filter(|n| {
            let now = 10.0 + f64::from(*n) / 10.0;
            let allowed = t.allowed(peer, now).is_ok();
            if allowed {
                t.failed(peer, now);
            }
            allowed
        });
        assert!((355..=361).contains(&heard.count()));
    }

    #[test]
    fn one_link_counts_once_and_the_table_is_bounded() {
        let mut t = Attempts::default();
        for n in 0..5u16 {
            t.failed(IpAddr::V6(Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 1, 2, 3, n)), 0.0);
        }
        assert!(t.allowed(at("2001:db8::9"), 0.0).is_err());
        assert!(t.allowed(at("2001:db8:0:1::9"), 0.0).is_ok());
        for n in 0..5_000u32 {
            t.failed(IpAddr::V4((0x0a00_0000 + n).into()), f64::from(n) / 1e4);
        }
        assert!(t.0.len() <= MOST);
    }
}
