//! Observations: facts with a time, the only thing stored as truth. Does not judge them.

use crate::judge::facts::answer::{
    Carrier, HeldAddress, Lease, Mains, NameAnswer, Radio, RouterLife, TlsAnswer, Transport, Web,
};
use crate::judge::facts::mac::Mac;
use crate::judge::facts::outcome::Outcome;
use crate::judge::facts::question::{Lane, Question};
use crate::judge::facts::time::{Micros, Moment};
use serde::{Deserialize, Serialize};
use std::net::IpAddr;
use std::sync::Arc;

/// Round-trip time and how it was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rtt {
    /// Microseconds from send to receive.
    pub took: Micros,
    /// True when both ends are kernel timestamps, false when taken around the system calls.
    pub kernel: bool,
}

/// What an answer said, where there is more to say than its outcome.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Detail {
    /// Nothing more.
    #[default]
    None,
    /// The interface.
    Carrier(Carrier),
    /// The interface is gone from the kernel.
    Gone,
    /// Addresses held and the default gateway.
    OwnAddress {
        /// Addresses on the interface, link-local left out.
        held: Vec<HeldAddress>,
        /// Gateway of the default route through the interface.
        gateway: Option<IpAddr>,
    },
    /// A recorded lease.
    Lease(Box<Lease>),
    /// Every distinct offer of one round, capped at 16, and how many packets were dropped as junk or over the cap.
    Offers {
        /// The offers.
        offers: Vec<Lease>,
        /// Packets to our port that were no usable offer.
        discarded: u32,
    },
    /// Hardware addresses that claimed the address asked for, in the order heard, capped at 8.
    Claimants(Vec<Mac>),
    /// A DNS answer.
    Name(NameAnswer),
    /// A TLS handshake.
    Tls(TlsAnswer),
    /// Mains and battery.
    Mains(Mains),
    /// The router's own account of itself.
    RouterLife(RouterLife),
    /// Hardware addresses of reachable neighbours, the gateway left out, sorted, at most 64.
    Neighbours(Vec<Mac>),
    /// A radio link.
    Radio(Radio),
    /// The address and port the outside sees.
    SeenFrom(std::net::SocketAddr),
    /// An HTTP answer to a plain request.
    Web(Web),
    /// The address that answered for the second hop.
    SecondHop(IpAddr),
    /// This clock less the source's, microseconds, and the error bound (half the round trip and what the source states).
    ClockOffset {
        /// Offset, microseconds; positive when this clock is ahead.
        offset: Micros,
        /// Bound on its error, microseconds.
        error: Micros,
    },
    /// Packet sizes tried with "don't fragment" set, IP packet octets.
    PathMtu {
        /// Largest that got an answer.
        passed: u16,
        /// Smallest that did not; `None` when all did.
        lost: Option<u16>,
        /// The size a router named in "fragmentation needed" or "packet too big", if one did.
        told: Option<u16>,
    },
    /// Idle times tried, seconds.
    Idle {
        /// Carried by.
        over: Transport,
        /// Longest idle time after which the flow still worked.
        kept_s: u32,
        /// Shortest after which it did not; `None` when none failed.
        lost_s: Option<u32>,
    },
    /// A local error in words.
    Why(String),
}

/// One fact with a time: what was asked, of whom, what came back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Observation {
    /// When the question left.
    pub asked: Moment,
    /// When the outcome was known.
    pub known: Moment,
    /// What was asked.
    pub question: Question,
    /// Of whom: interface name, resolver address, or the name of a reference point or receiver in the site file.
    pub target: Arc<str>,
    /// What came back.
    pub outcome: Outcome,
    /// Round-trip time of an answer.
    pub rtt: Option<Rtt>,
    /// What the answer said.
    pub detail: Detail,
}

impl Observation {
    /// The lane observed.
    pub const fn lane(&self) -> Lane {
        self.question.lane()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::facts::outcome::Unreachable;

    #[test]
    fn an_observation_survives_its_json() {
        let o = Observation {
            asked: Moment(5),
            known: Moment(9),
            question: Question::Connect,
            target: "receiver-a".into(),
            outcome: Outcome::Unreachable(Unreachable::Prohibited),
            rtt: None,
            detail: Detail::Claimants(vec![Mac([1, 2, 3, 4, 5, 6])]),
        };
        let text = serde_json::to_string(&o).expect("plain data serialises");
        assert_eq!(serde_json::from_str::<Observation>(&text).expect("reads back"), o);
    }
}
