//! The plan: every value settled, from the site file, the host and the defaults. What the agent runs and what is
//! printed before the first packet.

use crate::judge::Micros;
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

/// What the site is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SiteKind {
    /// A home.
    #[default]
    Household,
    /// A shop or office.
    SmallBusiness,
}

/// How a target is reached.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Transport {
    /// A TCP connection, closed again at once.
    #[default]
    Tcp,
    /// A TCP connection and a TLS handshake, then closed.
    Tls,
}

/// A host by name or by address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Host {
    /// A literal address; needs no name resolution.
    Address(IpAddr),
    /// A name to be looked up.
    Name(String),
}

/// A receiver named in the site file. Nothing is sent after connecting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Receiver {
    /// Its name in the site file; the observation's target.
    pub name: Arc<str>,
    /// Name or address.
    pub host: Host,
    /// TCP port.
    pub port: u16,
    /// TCP alone or with TLS.
    pub transport: Transport,
}

/// An outside address probed to tell "the internet" from "the receiver". One small DNS query (the root's name
/// servers, not recursive) over UDP.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reference {
    /// Its name in the site file; the observation's target.
    pub name: Arc<str>,
    /// Address and port.
    pub address: SocketAddr,
    /// True for the built-in root service addresses, which keep the longer floor.
    #[serde(default)]
    pub builtin: bool,
}

/// A resolver asked directly.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Resolver {
    /// Its address as text; the observation's target.
    pub name: Arc<str>,
    /// Address and port.
    pub address: SocketAddr,
}

/// How often each question is asked. Never under the floors in `site::cadence`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cadence {
    /// Link and kernel addresses (no packets).
    pub local: Micros,
    /// Gateway ARP and echo.
    pub router: Micros,
    /// Each resolver.
    pub names: Micros,
    /// Each reference point.
    pub outside: Micros,
    /// Each receiver.
    pub receiver: Micros,
    /// A round of discover and conflict probe.
    pub offers: Micros,
}

/// Everything the agent needs to run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// Opaque site id.
    pub site: String,
    /// What the site is.
    pub kind: SiteKind,
    /// Interface name, where one was found or named.
    pub interface: Option<String>,
    /// Resolvers to ask.
    pub resolvers: Vec<Resolver>,
    /// A name that exists, asked of each resolver.
    pub existing_name: String,
    /// Reference points.
    pub references: Vec<Reference>,
    /// Receivers; may be empty.
    pub receivers: Vec<Receiver>,
    /// How often.
    pub cadence: Cadence,
    /// How long to wait for an answer.
    pub patience: Micros,
    /// The station's supervision interval, where known.
    pub supervision: Option<Micros>,
    /// Name of the requirement set.
    pub requirements: String,
    /// True where this is the practice site.
    pub practice: bool,
    /// True on the practice site on loopback addresses: link, address and router lanes are blind by design.
    pub loopback: bool,
}
