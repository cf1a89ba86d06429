//! The plan: every value settled, from the site file, the host and the defaults. What the agent runs and what is
//! printed before the first packet.

use crate::judge::Micros;
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
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

/// The kind of line the site's internet comes by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Access {
    /// Glass to the building.
    Fibre,
    /// The television cable.
    Cable,
    /// The telephone pair.
    Dsl,
    /// Radio from a mast, at a fixed place.
    FixedWireless,
    /// Radio from orbit.
    Satellite,
    /// Not known.
    #[default]
    Unknown,
}

/// What the alarm system is used for. Only burglary can be judged here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Use {
    /// Intrusion signalling: what this program can judge.
    Burglary,
    /// Fire. Out of scope: the authority decides.
    Fire,
    /// Carbon monoxide. Out of scope.
    Co,
    /// Medical call. Out of scope.
    Medical,
    /// Hold-up or duress. Out of scope.
    HoldUp,
}

impl Use {
    /// The use in words.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Burglary => "burglary",
            Self::Fire => "fire",
            Self::Co => "carbon monoxide",
            Self::Medical => "medical",
            Self::HoldUp => "hold-up",
        }
    }

    /// Whether a verdict may be given for this use at all.
    pub const fn in_scope(self) -> bool {
        matches!(self, Self::Burglary)
    }
}

/// Where a piece of network gear takes its power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PoweredBy {
    /// A wall outlet.
    Wall,
    /// A battery backup.
    Backup,
    /// An outlet with a wall switch: someone will switch it off.
    SwitchedOutlet,
    /// Not known.
    #[default]
    Unknown,
}

/// A piece of network gear on the path.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gear {
    /// Its name in the site file.
    pub name: String,
    /// Where its power comes from.
    pub powered_by: PoweredBy,
}

/// What is known of the alarm panel. Nothing is ever sent to it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Panel {
    /// What its auxiliary output may deliver, mA.
    pub aux_limit_ma: Option<u32>,
    /// What already hangs on it, mA.
    pub aux_load_ma: Option<u32>,
    /// The communicator's hardware address.
    pub communicator_mac: Option<[u8; 6]>,
}

/// What the site file says of the site that no probe can find out. Nothing here changes what is sent.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Background {
    /// The kind of access line.
    pub access: Access,
    /// Whether the network gear is on a battery backup; `None`: not known.
    pub mains_backed: Option<bool>,
    /// How long that backup is said to last, minutes.
    pub backup_minutes: Option<u32>,
    /// Network gear on the path.
    pub gear: Vec<Gear>,
    /// The alarm panel.
    pub panel: Panel,
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

impl Resolver {
    /// A resolver named after its address; the port is shown only where it is not 53.
    pub fn at(address: SocketAddr) -> Self {
        let name = if address.port() == 53 { address.ip().to_string() } else { address.to_string() };
        Self { name: name.into(), address }
    }
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
    /// A lease file to read besides the usual places of the known clients.
    pub lease_file: Option<PathBuf>,
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
    /// What the alarm system is used for; anything but burglary is out of scope and the verdict must say so.
    #[serde(default)]
    pub uses: Vec<Use>,
    /// What no probe can find out.
    #[serde(default)]
    pub background: Background,
    /// True where this is the practice site.
    pub practice: bool,
    /// True on the practice site on loopback addresses: link, address and router lanes are blind by design.
    pub loopback: bool,
}
