//! Observations: facts with a time, the only thing stored as truth.
//!
//! Decides what can be asked and what can come back. Does not judge: a refusal here is a fact, not a fault. Every
//! outcome keeps timeout, refusal, unreachable, "not permitted" and "could not be asked" apart.

pub use crate::judge::facts::answer::*;
use crate::judge::facts::time::{Micros, Moment, WallTime};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::net::IpAddr;
use std::sync::Arc;

/// One layer of the path, inside out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lane {
    /// Mains and the agent's own life.
    Power,
    /// The network lead or radio between this host and the next box.
    Link,
    /// The address and lease of this host.
    Address,
    /// The customer's router.
    Router,
    /// Name resolution.
    Names,
    /// The internet beyond the router.
    Outside,
    /// The station's receiver.
    Receiver,
}

impl Lane {
    /// All lanes, inside out.
    pub const ALL: [Self; 7] =
        [Self::Power, Self::Link, Self::Address, Self::Router, Self::Names, Self::Outside, Self::Receiver];

    /// The lane's word in site files, JSON and prose.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Power => "power",
            Self::Link => "link",
            Self::Address => "address",
            Self::Router => "router",
            Self::Names => "names",
            Self::Outside => "outside",
            Self::Receiver => "receiver",
        }
    }
}

/// What was asked. Each question belongs to one lane.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Question {
    /// Is there a carrier, how fast, how many changes has the kernel counted? Detail: [`Detail::Carrier`].
    Carrier,
    /// Which addresses and which default route does the kernel hold? Detail: [`Detail::OwnAddress`].
    OwnAddress,
    /// What lease did the host's own client write down? Detail: [`Detail::Lease`].
    Lease,
    /// Which address servers answer a discover? Detail: [`Detail::Offers`].
    Offers,
    /// Does another host claim our address (RFC 5227)? `Answered` means yes. Detail: [`Detail::Claimants`].
    Conflict,
    /// Does the gateway answer ARP or neighbour solicitation? Detail: [`Detail::Claimants`].
    GatewayArp,
    /// What does the kernel's neighbour table say of the gateway (used where raw sockets are not permitted)?
    /// Detail: [`Detail::Claimants`].
    GatewayNeighbour,
    /// Does the gateway answer an ICMP echo?
    GatewayEcho,
    /// Does this resolver answer for a name that exists? Detail: [`Detail::Name`].
    Name,
    /// Does this resolver say "no such name" for one that must not exist? Detail: [`Detail::Name`].
    ControlName,
    /// Does this reference point answer? Detail: [`Detail::Name`].
    Reference,
    /// Does the receiver accept a connection? Nothing is sent on it.
    Connect,
    /// Does the receiver complete a TLS handshake? Detail: [`Detail::Tls`].
    Handshake,
    /// Is there mains, as a power supply of this host or a named NUT server sees it? Detail: [`Detail::Mains`].
    Mains,
    /// How long has the router been up, and does it call its outer side connected (UPnP `IGD`, SNMP)?
    /// Detail: [`Detail::RouterLife`].
    RouterLife,
    /// Which neighbours does the kernel hold as reachable? Detail: [`Detail::Neighbours`].
    Neighbours,
    /// How strong is the radio signal? Detail: [`Detail::Radio`].
    Radio,
    /// Is the communicator on the network, by its hardware address? Detail: [`Detail::Claimants`].
    Communicator,
    /// Is IPv4 had only by translation (RFC 7050)? Detail: [`Detail::Name`].
    Translation,
    /// Which address does the outside see (STUN, RFC 8489)? Detail: [`Detail::SeenFrom`].
    SeenFrom,
    /// What does a plain web request get where nothing should stand between? Detail: [`Detail::Web`].
    Portal,
    /// Which box is the second hop? Detail: [`Detail::SecondHop`].
    SecondHop,
    /// How far is this clock from a named time source (RFC 5905)? Detail: [`Detail::ClockOffset`].
    ClockOffset,
    /// How large a packet gets through to the receiver? Detail: [`Detail::PathMtu`].
    PathMtu,
    /// How long may a connection be idle before something between forgets it? Detail: [`Detail::Idle`].
    IdleTimeout,
}

impl Question {
    /// The lane this question belongs to.
    pub const fn lane(self) -> Lane {
        match self {
            Self::Carrier => Lane::Link,
            Self::OwnAddress | Self::Lease | Self::Offers | Self::Conflict => Lane::Address,
            Self::GatewayArp | Self::GatewayNeighbour | Self::GatewayEcho => Lane::Router,
            Self::Name | Self::ControlName => Lane::Names,
            Self::Reference => Lane::Outside,
            Self::Connect | Self::Handshake | Self::PathMtu | Self::IdleTimeout => Lane::Receiver,
            Self::Mains | Self::RouterLife | Self::Neighbours => Lane::Power,
            Self::Radio => Lane::Link,
            Self::Communicator => Lane::Address,
            Self::Translation => Lane::Names,
            Self::SeenFrom | Self::Portal | Self::SecondHop | Self::ClockOffset => Lane::Outside,
        }
    }

    /// Whether its answers say that the lane works. The others are facts beside it: a silent time source is no outage.
    pub const fn carries_lane(self) -> bool {
        matches!(
            self,
            Self::Carrier
                | Self::OwnAddress
                | Self::GatewayArp
                | Self::GatewayNeighbour
                | Self::GatewayEcho
                | Self::Name
                | Self::ControlName
                | Self::Reference
                | Self::Connect
                | Self::Handshake
        )
    }

    /// The question in a few words, for reports.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Carrier => "carrier",
            Self::OwnAddress => "own address and route",
            Self::Lease => "lease as the host's client recorded it",
            Self::Offers => "address servers that answer",
            Self::Conflict => "address conflict",
            Self::GatewayArp => "gateway hardware address",
            Self::GatewayNeighbour => "gateway in the neighbour table",
            Self::GatewayEcho => "gateway echo",
            Self::Name => "name lookup",
            Self::ControlName => "name that must not exist",
            Self::Reference => "reference point",
            Self::Connect => "receiver connection",
            Self::Handshake => "receiver TLS handshake",
            Self::Mains => "mains",
            Self::RouterLife => "router's time since its start",
            Self::Neighbours => "neighbours on the network",
            Self::Radio => "radio signal",
            Self::Communicator => "communicator on the network",
            Self::Translation => "IPv4 by translation",
            Self::SeenFrom => "address as seen from outside",
            Self::Portal => "page in between",
            Self::SecondHop => "second hop",
            Self::ClockOffset => "clock offset",
            Self::PathMtu => "largest packet to the receiver",
            Self::IdleTimeout => "idle time allowed",
        }
    }
}

/// What an ICMP or kernel "unreachable" named (RFC 792, RFC 4443).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unreachable {
    /// No route to the network.
    Net,
    /// Host did not answer on its own network (often: ARP unanswered).
    Host,
    /// Port closed.
    Port,
    /// Forbidden by a filter.
    Prohibited,
    /// Any other code.
    Other,
}

/// Why a question could not be asked at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotAsked {
    /// The interface is gone or down.
    NoInterface,
    /// This host has no usable address of the family.
    NoAddress,
    /// The kernel has no route to the target.
    NoRoute,
    /// The target's name did not resolve.
    Unresolved,
    /// Nobody is configured to be asked.
    NoTarget,
    /// The kernel or this build does not offer it.
    Unsupported,
    /// A local error; the words are in [`Detail::Why`].
    Local,
}

/// What came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// A valid answer; what it says is in the detail.
    Answered,
    /// Nothing within the waiting time.
    Timeout,
    /// The target said no (TCP reset to a connect, ICMP port unreachable, DNS REFUSED).
    Refused,
    /// An established connection was torn down.
    Reset,
    /// A router or the kernel said the target can't be reached.
    Unreachable(Unreachable),
    /// Something came back that is not a valid answer.
    Malformed,
    /// This host may not ask: blind, never good or bad.
    NotPermitted,
    /// Could not be asked: blind, never good or bad.
    NotAsked(NotAsked),
}

impl Outcome {
    /// Whether the question was really put: blind outcomes are not.
    pub const fn was_asked(self) -> bool {
        !matches!(self, Self::NotPermitted | Self::NotAsked(_))
    }

    /// The outcome in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Answered => "answered",
            Self::Timeout => "no answer",
            Self::Refused => "refused",
            Self::Reset => "connection torn down",
            Self::Unreachable(Unreachable::Prohibited) => "forbidden by a filter",
            Self::Unreachable(_) => "unreachable",
            Self::Malformed => "answer makes no sense",
            Self::NotPermitted => "not permitted here",
            Self::NotAsked(NotAsked::NoInterface) => "not asked: no interface",
            Self::NotAsked(NotAsked::NoAddress) => "not asked: no address",
            Self::NotAsked(NotAsked::NoRoute) => "not asked: no route",
            Self::NotAsked(NotAsked::Unresolved) => "not asked: name did not resolve",
            Self::NotAsked(NotAsked::NoTarget) => "not asked: no target",
            Self::NotAsked(NotAsked::Unsupported) => "not asked: not supported here",
            Self::NotAsked(NotAsked::Local) => "not asked: local error",
        }
    }
}

/// A hardware (EUI-48) address.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Mac(pub [u8; 6]);

impl std::fmt::Display for Mac {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [a, b, c, d, e, g] = self.0;
        write!(f, "{a:02x}:{b:02x}:{c:02x}:{d:02x}:{e:02x}:{g:02x}")
    }
}

impl From<Mac> for String {
    fn from(m: Mac) -> Self {
        m.to_string()
    }
}

impl TryFrom<String> for Mac {
    type Error = String;
    fn try_from(s: String) -> Result<Self, String> {
        let mut out = [0u8; 6];
        let mut parts = s.split([':', '-']);
        for byte in &mut out {
            let part = parts.next().filter(|p| p.len() == 2);
            *byte = part
                .and_then(|p| u8::from_str_radix(p, 16).ok())
                .ok_or_else(|| format!("not a hardware address: {s}"))?;
        }
        if parts.next().is_some() { Err(format!("not a hardware address: {s}")) } else { Ok(Self(out)) }
    }
}

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

/// How a session of the agent ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// The time asked for was over.
    Complete,
    /// Somebody stopped it.
    Interrupted,
}

/// One start of the agent: the anchors between its clocks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Session {
    /// When it began, on the record's axis.
    pub at: Moment,
    /// Kernel boot id.
    pub boot_id: String,
    /// Boot-time clock at `at`.
    pub boot: Micros,
    /// Wall clock at `at`.
    pub wall: WallTime,
    /// Whether the wall clock was synchronised; `None` when the kernel would not say.
    pub synced: Option<bool>,
}

/// What the record holds, in the order it became known; the judge folds over it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Entry {
    /// The agent started.
    Began(Session),
    /// An observation.
    Seen(Observation),
    /// The wall clock was stepped: from here on, `wall` belongs to `at`.
    Stepped {
        /// When, on the record's axis.
        at: Moment,
        /// The new wall time.
        wall: WallTime,
    },
    /// The agent was alive and had nothing else to say.
    Alive {
        /// When.
        at: Moment,
    },
    /// Somebody does something to the site on purpose: what happens until the drill's end counts neither way.
    Drill {
        /// When.
        at: Moment,
        /// What is begun, done or ended.
        step: crate::judge::decide::drill::Step,
    },
    /// The agent ended by intention. A session without this was killed or lost power.
    Ended {
        /// When.
        at: Moment,
        /// How.
        how: Ending,
    },
}

impl Entry {
    /// When this entry became known.
    pub const fn known(&self) -> Moment {
        match self {
            Self::Began(s) => s.at,
            Self::Seen(o) => o.known,
            Self::Stepped { at, .. } | Self::Alive { at } | Self::Drill { at, .. } | Self::Ended { at, .. } => *at,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hardware_addresses_read_back() {
        let m = Mac([2, 0, 0x5e, 0x10, 0xff, 1]);
        assert_eq!(Mac::try_from(m.to_string()), Ok(m));
        for bad in ["", "02:00", "02:00:5e:10:ff:01:02", "2:0:5e:10:ff:1", "zz:00:5e:10:ff:01"] {
            assert!(Mac::try_from(bad.to_owned()).is_err(), "{bad}");
        }
    }

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
