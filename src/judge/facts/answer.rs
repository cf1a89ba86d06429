//! What answers hold besides their outcome: interfaces, leases, names, handshakes, mains, routers, radio, pages.
//!
//! Plain data, as it was heard. Says nothing of what is good or bad.

use crate::judge::facts::mac::Mac;
use serde::{Deserialize, Serialize};
use std::net::IpAddr;

/// The kernel's view of one network interface.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carrier {
    /// Interface index; a new one after the device was re-created, which resets the counters.
    pub index: u32,
    /// Name now; may differ from the target when it was renamed.
    pub name: String,
    /// Carrier present.
    pub up: bool,
    /// `IFLA_CARRIER_CHANGES`, where the kernel gives it.
    pub changes: Option<u32>,
    /// `IFLA_CARRIER_UP_COUNT`.
    pub up_count: Option<u32>,
    /// `IFLA_CARRIER_DOWN_COUNT`.
    pub down_count: Option<u32>,
    /// Mbit/s, where known.
    pub speed_mbps: Option<u32>,
    /// Full duplex, where known.
    pub full_duplex: Option<bool>,
    /// True when the kernel announced this by itself (netlink multicast) rather than being asked.
    pub announced: bool,
}

/// One address the kernel holds on the interface.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HeldAddress {
    /// The address.
    pub address: IpAddr,
    /// Prefix length in bits.
    pub prefix: u8,
    /// Seconds the address stays valid; `None` is forever.
    pub valid_s: Option<u32>,
    /// Seconds it stays preferred; `None` is forever.
    pub preferred_s: Option<u32>,
    /// Set by hand or by a client that gave no lifetime.
    pub permanent: bool,
}

/// An address lease: from an offer, or as the host's own client recorded it. Lifetimes in seconds (RFC 2131, 2132).
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lease {
    /// The address given.
    pub address: Option<IpAddr>,
    /// Server identifier (option 54).
    pub server: Option<IpAddr>,
    /// Lease time (option 51).
    pub lease_s: Option<u32>,
    /// Renewal time T1 (option 58).
    pub renew_s: Option<u32>,
    /// Rebinding time T2 (option 59).
    pub rebind_s: Option<u32>,
    /// Prefix length from the subnet mask (option 1).
    pub prefix: Option<u8>,
    /// Routers (option 3).
    pub routers: Vec<IpAddr>,
    /// Resolvers (option 6).
    pub resolvers: Vec<IpAddr>,
    /// Hardware address the offer came from.
    pub from: Option<Mac>,
    /// Which client's file it was read from (`networkd`, `dhclient`, `network-manager`, `dhcpcd`).
    pub recorded_by: Option<String>,
    /// The network asks hosts that can to do without IPv4 for so many seconds (option 108, RFC 8925).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ipv6_only_s: Option<u32>,
    /// Where the network says that leave to use it must be had (option 114, RFC 8910), at most 255 octets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub portal: Option<String>,
}

/// What a DNS answer held.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct NameAnswer {
    /// Response code (RFC 1035, RFC 6895): 0 no error, 2 server failure, 3 no such name, 5 refused.
    pub code: u16,
    /// Answer records.
    pub answers: u16,
    /// Addresses in the answer, at most eight.
    pub addresses: Vec<IpAddr>,
    /// The UDP answer was truncated, so TCP was tried.
    pub truncated: bool,
    /// The answer counted came over TCP.
    pub over_tcp: bool,
}

/// How a TLS handshake ended.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TlsAnswer {
    /// Protocol version agreed, for example `TLSv1_3`.
    pub version: Option<String>,
    /// Whether the certificate chains to a public root and matches the name; `None` when it did not come to that.
    pub trusted: Option<bool>,
    /// Why not, in the library's words.
    pub why: Option<String>,
}

/// Mains and battery, as one source sees them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mains {
    /// Mains present; `None` when the source does not say.
    pub present: Option<bool>,
    /// Battery charge, percent.
    pub charge_percent: Option<u8>,
    /// Run time left as the source estimates it, seconds.
    pub runtime_s: Option<u32>,
    /// The source calls its battery low.
    pub battery_low: bool,
    /// The source asks for a new battery.
    pub battery_bad: bool,
}

/// What the router says of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RouterLife {
    /// Seconds since it started (`sysUpTime`) or since its outer connection came up (`NewUptime`), see `of_connection`.
    pub up_s: Option<u64>,
    /// True when `up_s` counts from the outer connection, not from the start of the box.
    pub of_connection: bool,
    /// Whether it calls its outer side connected.
    pub connected: Option<bool>,
    /// Its outer address as it knows it.
    pub outer: Option<IpAddr>,
}

/// A radio link as the kernel sees it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Radio {
    /// Signal, dBm.
    pub signal_dbm: Option<i16>,
    /// Access point.
    pub access_point: Option<Mac>,
    /// MHz.
    pub frequency_mhz: Option<u32>,
    /// Transmit rate, kbit/s.
    pub tx_kbps: Option<u32>,
    /// Frames given up on since association.
    pub tx_failed: Option<u32>,
    /// Beacons missed since association.
    pub beacons_lost: Option<u32>,
}

/// An answer to a plain web request.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Web {
    /// Status code (RFC 9110).
    pub status: u16,
    /// Host named by a redirect, at most 255 octets.
    pub redirected_to: Option<String>,
    /// Whether status and body were those the site file expects; `None` where it does not say.
    pub as_expected: Option<bool>,
}

/// A transport protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Transport {
    /// TCP.
    Tcp,
    /// UDP.
    Udp,
}
