//! Which neighbours does the kernel hold?
//!
//! Reads the neighbour table and asks nobody: several that leave and return together are a sign of lost power, and no
//! scan is worth having it. A neighbour is there from the moment the kernel has its hardware address until the kernel
//! itself found that it does not answer (RFC 4861 section 7.3.2; the same for ARP): an entry nobody has used for a while
//! (`STALE`) says nothing new, so it is not taken for a leaving. The gateway is left out, for it is asked elsewhere.

use super::Context;
use super::host::{Blind, Host};
use super::turns::Timer;
use crate::judge::{Detail, Mac, Micros, Moment, NotAsked, Observation, Outcome, Question};
use crate::sys::netlink::{Neighbour, NeighbourState};
use std::collections::BTreeSet;
use std::net::IpAddr;

/// Most neighbours kept.
pub const MOST: usize = 64;
/// Least time between two looks.
const LEAST: Micros = Micros::from_secs(1);
/// How often it is looked while all is well; told only when it changed.
const LOOK: Micros = Micros::from_secs(5);

/// The neighbours in a table, by hardware address, sorted.
pub fn present(table: &[(IpAddr, Neighbour)], gateways: &[IpAddr]) -> Vec<Mac> {
    // A gateway has more than one address: all of its entries go by one hardware address.
    let of_gateway: BTreeSet<Mac> =
        table.iter().filter(|(address, _)| gateways.contains(address)).filter_map(|(_, n)| n.mac).collect();
    let held = table.iter().filter(|(address, n)| {
        !address.is_multicast()
            && matches!(
                n.state,
                NeighbourState::Reachable | NeighbourState::Stale | NeighbourState::Delay | NeighbourState::Probe
            )
    });
    let macs: BTreeSet<Mac> = held.filter_map(|(_, n)| n.mac).filter(|m| !of_gateway.contains(m)).collect();
    macs.into_iter().take(MOST).collect()
}

/// What was told last, and when.
#[derive(Clone, Debug, Default)]
pub struct Watch {
    told: Option<(Moment, Option<Vec<Mac>>)>,
}

impl Watch {
    /// Whether a look (`None`: blind) is worth telling: it differs from the last one told, or that was `every` ago.
    pub fn is_news(&mut self, at: Moment, every: Micros, seen: Option<&[Mac]>) -> bool {
        let news = self.told.as_ref().is_none_or(|(then, old)| at - *then >= every || old.as_deref() != seen);
        if news {
            self.told = Some((at, seen.map(<[Mac]>::to_vec)));
        }
        news
    }
}

/// Looks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let every = ctx.plan.signs.signs_every;
    let mut turns = Timer::after(&ctx, LEAST, LOOK.min(every), LEAST);
    let mut watch = Watch::default();
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let seen = look(&mut host).await;
        let at = ctx.clock.now();
        if !watch.is_news(at, every, seen.as_deref().ok()) {
            continue;
        }
        let (question, target) = (Question::Neighbours, host.target());
        let report = match seen {
            Ok(macs) => {
                let (outcome, detail) = (Outcome::Answered, Detail::Neighbours(macs));
                Observation { asked: at, known: at, question, target, outcome, rtt: None, detail }
            }
            Err(blind) => blind.observed(question, target, at),
        };
        if !ctx.report(report).await {
            return;
        }
    }
}

async fn look(host: &mut Host) -> Result<Vec<Mac>, Blind> {
    // Without carrier the kernel forgets every neighbour: that is no leaving.
    let interface = host.carrying().await?;
    if interface.loopback {
        return Err(Blind::NotAsked(NotAsked::Unsupported));
    }
    let index = interface.carrier.index;
    let (gateways, table) =
        host.ask(async |kernel| Ok((kernel.gateways(index).await?, kernel.neighbours(index).await?))).await?;
    Ok(present(&table, &gateways))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mac(n: u8) -> Mac {
        Mac([2, 0, 0, 0, 0, n])
    }

    fn entry(address: &str, state: NeighbourState, n: u8) -> (IpAddr, Neighbour) {
        (address.parse().expect("literal"), Neighbour { state, mac: Some(mac(n)), confirmed_ms: None })
    }

    #[test]
    fn a_neighbour_is_there_until_the_kernel_found_it_gone() {
        let table = [
            entry("192.0.2.9", NeighbourState::Stale, 9),
            entry("192.0.2.3", NeighbourState::Reachable, 3),
            entry("fe80::3", NeighbourState::Delay, 3),
            entry("192.0.2.4", NeighbourState::Probe, 4),
            entry("192.0.2.5", NeighbourState::Failed, 5),
            entry("192.0.2.6", NeighbourState::Incomplete, 6),
            entry("192.0.2.7", NeighbourState::Permanent, 7),
            entry("ff02::1", NeighbourState::Noarp, 8),
        ];
        assert_eq!(present(&table, &[]), [mac(3), mac(4), mac(9)]);
    }

    #[test]
    fn the_gateway_is_left_out_under_all_its_addresses() {
        let table = [
            entry("192.0.2.1", NeighbourState::Reachable, 1),
            entry("fe80::1", NeighbourState::Stale, 1),
            entry("192.0.2.3", NeighbourState::Reachable, 3),
        ];
        assert_eq!(present(&table, &["192.0.2.1".parse().expect("literal")]), [mac(3)]);
    }

    #[test]
    fn a_crowd_is_capped() {
        let table: Vec<_> = (0..200).map(|n| entry(&format!("192.0.2.{n}"), NeighbourState::Reachable, n)).collect();
        assert_eq!(present(&table, &[]).len(), MOST);
    }

    #[test]
    fn only_news_is_told_and_the_same_again_after_a_while() {
        let (mut w, minute) = (Watch::default(), Micros::from_secs(60));
        let at = |s: i64| Moment(s * 1_000_000);
        assert!(w.is_news(at(0), minute, Some(&[mac(1)])));
        assert!(!w.is_news(at(5), minute, Some(&[mac(1)])));
        assert!(w.is_news(at(10), minute, Some(&[])));
        assert!(w.is_news(at(15), minute, None));
        assert!(!w.is_news(at(20), minute, None));
        assert!(w.is_news(at(75), minute, None));
    }
}
