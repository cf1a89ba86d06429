//! The plan: every value settled, from the site file, the host and the defaults. What the agent runs and what is
//! printed before the first packet.

use crate::judge::delivering::{DEFAULT_RETRIES, DEFAULT_WITHIN, Signalling};
use crate::judge::outlook::Assumed;
use crate::judge::{Known, Micros, Planned, Prior, Recalled};
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;

pub use crate::judge::Access;

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
    /// Outages the customer recalls of the last year.
    #[serde(default)]
    pub recalled: Option<Recalled>,
    /// When the communicator tries after an alarm; `None`: not known.
    #[serde(default)]
    pub retries: Option<Vec<Micros>>,
    /// Within which time an alarm must be through; `None`: not said.
    #[serde(default)]
    pub within: Option<Micros>,
    /// Hours a year the network gear is without power, after its backup.
    #[serde(default)]
    pub mains_hours: Option<u32>,
    /// Hours a year the cellular path is down.
    #[serde(default)]
    pub cellular_hours: Option<u32>,
    /// Share of failures that take both paths, in percent.
    #[serde(default)]
    pub shared_percent: Option<u32>,
    /// What a cellular path costs a month.
    #[serde(default)]
    pub monthly_fee: Option<u32>,
    /// Drills and planned works.
    #[serde(default)]
    pub planned: Vec<Planned>,
}

impl Background {
    /// The part of it that the judge uses.
    pub fn known(&self) -> Known {
        Known {
            prior: Prior { access: (self.access != Access::Unknown).then_some(self.access), recalled: self.recalled },
            signalling: Signalling {
                retries: self.retries.clone().unwrap_or_else(|| DEFAULT_RETRIES.to_vec()),
                within: self.within.unwrap_or(DEFAULT_WITHIN),
                named: self.within.is_some(),
            },
            assumed: Assumed {
                mains_hours: self.mains_hours.map(f64::from),
                cellular_hours: self.cellular_hours.map(f64::from),
                shared: self.shared_percent.map(|p| f64::from(p) / 100.0),
                monthly_fee: self.monthly_fee.map(f64::from),
            },
            planned: self.planned.clone(),
        }
    }
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
