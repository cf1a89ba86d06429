//! The plan: every value settled, from the site file, the host and the defaults. What the agent runs and what is
//! printed before the first packet.

use crate::judge::delivering::{DEFAULT_RETRIES, DEFAULT_WITHIN, Signalling};
use crate::judge::drill::{Drill, DrillResult, Lasted};
use crate::judge::thresholds::Caution;
use crate::judge::{Known, Micros, Planned, Prior, Recalled};
use crate::worksheet::outlook;
use crate::worksheet::units::Hours;
use serde::{Deserialize, Serialize};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

pub use super::cadence::Cadence;
pub use super::signs::{Nut, PowerSources, Signs, Snmp};
pub use super::value::Host;
pub use crate::judge::Access;
pub use crate::worksheet::given::{
    Backup, Cellular, Device, Drilled, DrilledTime, Gear, Mains, Panel, Power, PoweredBy, Wiring,
};

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
    /// How many unneeded backups weigh as much as one line wrongly left without; `None`: not said.
    #[serde(default)]
    pub caution: Option<u32>,
    /// What an hour without monitoring is worth to the customer, in the money of the fee; `None`: not said.
    #[serde(default)]
    pub unmonitored_hour: Option<u32>,
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
    /// How long the mobile mast runs without mains.
    #[serde(default)]
    pub mast_holds: Option<Hours>,
    /// The mains supply.
    #[serde(default)]
    pub mains: Mains,
    /// Battery backups of network gear.
    #[serde(default)]
    pub backups: Vec<Backup>,
    /// What hangs on the panel.
    #[serde(default)]
    pub devices: Vec<Device>,
    /// The run between panel and communicator.
    #[serde(default)]
    pub wiring: Wiring,
    /// Drills and planned works.
    #[serde(default)]
    pub planned: Vec<Planned>,
    /// What drills measured.
    #[serde(default)]
    pub drilled: Drilled,
}

impl Background {
    /// The part of it that the worksheets use.
    pub fn power(&self, site: &str) -> Power {
        Power {
            site: site.into(),
            line: self.line(),
            backed: self.mains_backed,
            carries: self.backup_minutes.map(|m| Hours::minutes(f64::from(m))),
            hours_down: self.mains_hours,
            mains: self.mains.clone(),
            gear: self.gear.clone(),
            backups: self.backups.clone(),
            panel: self.panel.clone(),
            devices: self.devices.clone(),
            wiring: self.wiring.clone(),
            cellular: Cellular {
                hours_down: self.cellular_hours,
                shared_percent: self.shared_percent,
                monthly_fee: self.monthly_fee,
                holds: self.mast_holds,
            },
            drilled: self.drilled.clone(),
        }
    }

    fn line(&self) -> Prior {
        Prior {
            access: (self.access != Access::Unknown).then_some(self.access),
            recalled: self.recalled,
            unbroken: None,
        }
    }

    /// The part of it that the judge uses.
    pub fn known(&self) -> Known {
        Known {
            prior: self.line(),
            signalling: Signalling {
                retries: self.retries.clone().unwrap_or_else(|| DEFAULT_RETRIES.to_vec()),
                within: self.within.unwrap_or(DEFAULT_WITHIN),
                named: self.within.is_some(),
            },
            caution: self.careful(),
            assumed: outlook::assumed(&self.power("")),
            planned: self.planned.clone(),
            standby: outlook::standby(&self.power("")),
        }
    }

    /// How careful the choice is: as entered, or what an hour is worth against the fee, or the default.
    fn careful(&self) -> Caution {
        match (self.caution, self.unmonitored_hour, self.monthly_fee) {
            (Some(c), ..) => Caution(f64::from(c)),
            (None, Some(hour), Some(fee)) => Caution::of_money(f64::from(hour), f64::from(fee)),
            _ => Caution::default(),
        }
    }

    /// Puts what drills measured, in their order, in the place of what was known before; each with its day (UTC).
    pub fn take_drills(&mut self, results: &[DrillResult]) {
        let hours = |t: Micros| Hours::of(t.secs() / 3_600.0);
        for r in results {
            let Some(on) = r.began.and_then(|w| jiff::Timestamp::from_microsecond(w.0).ok()) else { continue };
            let on = on.strftime("%Y-%m-%d").to_string();
            // Where the mains was seen to stay, it was another plug.
            if let Some(path) = r.path.filter(|_| r.mains_seen != Some(false)) {
                let still = matches!(path, Lasted::Still(_));
                let lasted = hours(path.at_least());
                // A drill that ended while the path still carried says nothing against a longer one before.
                if !still || self.drilled.carries.as_ref().is_none_or(|before| before.lasted < lasted) {
                    self.drilled.carries = Some(DrilledTime { lasted, still, on: on.clone() });
                }
            }
            // How long a pulled lead takes to carry again is no restart.
            if let Some(back) = r.back.filter(|_| r.marked.drill != Drill::CablePull) {
                self.drilled.restart = Some(DrilledTime { lasted: hours(back.middle), still: false, on });
            }
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

/// A host named for a question beside the path's own: a STUN server or a time source.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    /// Its name in the site file; the observation's target.
    pub name: Arc<str>,
    /// Name or address.
    pub host: Host,
    /// Port.
    pub port: u16,
    /// How often.
    pub every: Micros,
}

/// A page asked for by plain HTTP, to see whether something answers in its place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ControlPage {
    /// Who holds it, and how often it is asked for.
    pub at: Asked,
    /// Its path.
    pub path: String,
    /// Status code where nothing stands between.
    pub status: u16,
    /// Its body, without white space at its ends; `None`: any.
    pub body: Option<String>,
}

/// A host on which idle connections may be held, to learn how long what lies between remembers them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct IdleTest {
    /// Whom, and how often a whole measurement is begun.
    pub at: Asked,
    /// By a TCP connection on which nothing is sent, or by STUN.
    pub over: crate::judge::Transport,
    /// The longest idle time tried.
    pub longest: Micros,
}

/// What is asked about what lies between here and the receiver.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Between {
    /// Hosts for idle times.
    pub idle_tests: Vec<IdleTest>,
    /// STUN servers.
    pub stun_servers: Vec<Asked>,
    /// Pages that nothing should stand in front of.
    pub control_pages: Vec<ControlPage>,
    /// Time sources.
    pub time_sources: Vec<Asked>,
    /// How often the largest packet that gets through to each named reference point is looked for.
    pub path_mtu: Micros,
    /// How often each named reference point is asked with a life of two hops.
    pub second_hop: Micros,
    /// How often each resolver is asked whether it translates.
    pub translation: Micros,
}

impl Default for Between {
    fn default() -> Self {
        Self {
            idle_tests: Vec::new(),
            stun_servers: Vec::new(),
            control_pages: Vec::new(),
            time_sources: Vec::new(),
            path_mtu: super::cadence::PATH_MTU,
            second_hop: super::cadence::SECOND_HOP,
            translation: super::cadence::TRANSLATION,
        }
    }
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
    /// What is asked about what lies between.
    #[serde(default)]
    pub between: Between,
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
    /// The signs of lost power that are looked for.
    #[serde(default)]
    pub signs: Signs,
    /// True where this is the practice site.
    pub practice: bool,
    /// True on the practice site on loopback addresses: link, address and router lanes are blind by design.
    pub loopback: bool,
}
