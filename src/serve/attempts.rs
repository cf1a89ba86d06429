//! How often a wrong token may be shown: a few times at once, then one now and then, counted by who shows it.
//!
//! Whoever has used them up is turned away unheard, with the right token too, or trying would go on. Passes are not
//! counted: they can't be guessed at all. Bounded: so many addresses are remembered, the longest unheard of go first.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};

/// Wrong ones at once.
const AT_ONCE: f64 = 5.0;
/// One more after so many seconds (choice: 360 an hour, against more than 2^80 tokens).
const EACH_S: f64 = 10.0;
/// Addresses remembered.
const MOST: usize = 1_024;

/// Who has shown wrong tokens lately.
#[derive(Debug, Default)]
pub(super) struct Tries(HashMap<IpAddr, (f64, f64)>);

impl Tries {
    /// Whether one at this address may show a token; else how many seconds they wait.
    pub(super) fn may(&self, peer: IpAddr, now_s: f64) -> Result<(), u64> {
        let spent = self.spent(peer, now_s);
        if spent + 1.0 <= AT_ONCE { Ok(()) } else { Err(((spent + 1.0 - AT_ONCE) * EACH_S).ceil() as u64) }
    }

    /// One at this address has shown a wrong one.
    pub(super) fn wrong(&mut self, peer: IpAddr, now_s: f64) {
        let spent = self.spent(peer, now_s) + 1.0;
        if self.0.len() >= MOST {
            self.0.retain(|_, (at, spent)| now_s - *at < *spent * EACH_S);
        }
        if self.0.len() >= MOST
            && let Some(oldest) = self.0.iter().min_by(|a, b| a.1.0.total_cmp(&b.1.0)).map(|(who, _)| *who)
        {
            self.0.remove(&oldest);
        }
        self.0.insert(neighbourhood(peer), (now_s, spent));
    }

    fn spent(&self, peer: IpAddr, now_s: f64) -> f64 {
        self.0.get(&neighbourhood(peer)).map_or(0.0, |(at, spent)| (spent - (now_s - at).max(0.0) / EACH_S).max(0.0))
    }
}

/// Who counts as one: an address, or what a single IPv6 link is given (RFC 4291, section 2.5.4: 64 bits).
pub(super) fn neighbourhood(peer: IpAddr) -> IpAddr {
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
        let (mut t, peer) = (Tries::default(), at("192.0.2.7"));
        for _ in 0..5 {
            assert!(t.may(peer, 0.0).is_ok());
            t.wrong(peer, 0.0);
        }
        assert_eq!(t.may(peer, 0.0), Err(10));
        assert_eq!(t.may(peer, 9.5), Err(1));
        assert!(t.may(at("192.0.2.8"), 0.0).is_ok(), "others may");
        assert!(t.may(peer, 10.0).is_ok());
        t.wrong(peer, 10.0);
        assert_eq!(t.may(peer, 10.0), Err(10));
        // An hour of trying as fast as it goes.
        let heard = (0..36_000).filter(|n| {
            let now = 10.0 + f64::from(*n) / 10.0;
            let may = t.may(peer, now).is_ok();
            if may {
                t.wrong(peer, now);
            }
            may
        });
        assert!((355..=361).contains(&heard.count()));
    }

    #[test]
    fn one_link_counts_once_and_the_table_is_bounded() {
        let mut t = Tries::default();
        for n in 0..5u16 {
            t.wrong(IpAddr::V6(Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 1, 2, 3, n)), 0.0);
        }
        assert!(t.may(at("2001:db8::9"), 0.0).is_err());
        assert!(t.may(at("2001:db8:0:1::9"), 0.0).is_ok());
        for n in 0..5_000u32 {
            t.wrong(IpAddr::V4((0x0a00_0000 + n).into()), f64::from(n) / 1e4);
        }
        assert!(t.0.len() <= MOST);
    }
}
