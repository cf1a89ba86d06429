//! The kernel's neighbour table read for the gateway (RFC 4861 section 7.3.2), pure.
//!
//! Decides what an entry says: only `REACHABLE` is good, only `FAILED`, or `INCOMPLETE` twice, is bad, and anything else says
//! nothing.

use crate::judge::{Detail, Micros, Moment, Observation, Outcome, Question};
use crate::sys::netlink::{Neighbour, NeighbourState};
use std::net::IpAddr;

/// Confirmations closer than this are one.
const CONFIRMED_APART: Micros = Micros::from_millis(100);
/// The pure part for the neighbour table.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    unanswered: bool,
    confirmed: Option<Moment>,
}

impl Table {
    /// A look at the gateway's entry: what to report, and whether to nudge the kernel to ask the gateway.
    ///
    /// `asked` of an answer is the moment the kernel last had it confirmed, which can be most of a minute ago; each
    /// confirmation is reported once. Whether the gateway is still there between two of them nobody knows.
    pub(super) fn on_look(
        &mut self,
        at: Moment,
        gateway: IpAddr,
        entry: Option<Neighbour>,
    ) -> (Option<Observation>, bool) {
        let state = entry.map_or(NeighbourState::None, |e| e.state);
        let before = std::mem::take(&mut self.unanswered);
        let age = entry.and_then(|e| e.confirmed_ms).unwrap_or(0);
        let confirmed = (at - Micros::from_millis(i64::from(age))).max(Moment(0));
        let (outcome, asked) = match state {
            NeighbourState::Reachable => {
                // The kernel counts in hundredths of a second and we read a little later each time.
                let fresh = self.confirmed.is_none_or(|last| confirmed - last > CONFIRMED_APART);
                if fresh {
                    self.confirmed = Some(confirmed);
                }
                (fresh.then_some(Outcome::Answered), confirmed)
            }
            NeighbourState::Failed => {
                self.unanswered = true;
                (Some(Outcome::Timeout), at)
            }
            NeighbourState::Incomplete => {
                self.unanswered = true;
                // Seen once it may have been made an instant ago.
                (before.then_some(Outcome::Timeout), at)
            }
            _ => (None, at),
        };
        let mac = entry.and_then(|e| e.mac);
        let report = outcome.map(|outcome| Observation {
            asked,
            known: at,
            question: Question::GatewayNeighbour,
            target: gateway.to_string().into(),
            outcome,
            rtt: None,
            detail: Detail::Claimants(mac.filter(|_| outcome == Outcome::Answered).into_iter().collect()),
        });
        (report, state != NeighbourState::Reachable)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Mac;
    use std::net::Ipv4Addr;

    const ROUTER: Mac = Mac([2, 0, 0, 0, 0, 2]);
    const GATEWAY: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 1);

    fn ms(ms: i64) -> Moment {
        Moment(ms * 1_000)
    }

    #[test]
    fn the_table_is_good_or_bad_only_when_it_is_sure() {
        let entry = |state| Some(Neighbour { state, mac: Some(ROUTER), confirmed_ms: Some(2_000) });
        let gateway = IpAddr::V4(GATEWAY);
        let mut t = Table::default();
        let mut look = |at: i64, e| {
            let (report, nudges) = t.on_look(ms(at), gateway, e);
            (report.map(|o| (o.outcome, o.asked)), nudges)
        };
        assert_eq!(look(5_000, entry(NeighbourState::Reachable)), (Some((Outcome::Answered, ms(3_000))), false));
        assert_eq!(look(5_010, entry(NeighbourState::Reachable)), (None, false), "the same confirmation");
        for unsure in [NeighbourState::Stale, NeighbourState::Delay, NeighbourState::Probe, NeighbourState::None] {
            assert_eq!(look(6_000, entry(unsure)), (None, true), "{unsure:?}");
        }
        assert_eq!(look(7_000, None), (None, true));
        assert_eq!(look(8_000, entry(NeighbourState::Incomplete)), (None, true), "perhaps made just now");
        assert_eq!(look(9_000, entry(NeighbourState::Incomplete)), (Some((Outcome::Timeout, ms(9_000))), true));
        assert_eq!(look(10_000, entry(NeighbourState::Failed)), (Some((Outcome::Timeout, ms(10_000))), true));
    }
}
