//! Lanes, and the questions put to them.
//!
//! Decides which lane a question belongs to, and whether its answers say that the lane works.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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
