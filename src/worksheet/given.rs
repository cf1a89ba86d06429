//! What is known of a site's power before anything is worked out: the inputs of every worksheet.
//!
//! Decides nothing. What nobody entered is `None` and stays so: a worksheet says what it needs. Kept in the record with
//! the plan, so every field has a default.

use super::battery::Standby;
use super::conductor::{Conductor, Data};
use super::copper::{Gauge, Strand};
use super::firmware::Version;
use super::units::{AmpHours, Celsius, Exponent, Hours, Metres, Milliamps, PerYear, Volts, WattHours, Watts, Years};
use crate::judge::Prior;
use serde::{Deserialize, Serialize};

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

/// What a piece of network gear is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GearKind {
    /// A modem on the television cable.
    CableModem,
    /// A modem on the telephone pair.
    DslModem,
    /// The optical network terminal.
    OpticalTerminal,
    /// Modem and router in one, cable.
    CableGateway,
    /// Modem and router in one, telephone pair.
    DslGateway,
    /// A router.
    Router,
    /// A radio access point.
    AccessPoint,
    /// A switch.
    Switch,
    /// A radio or powerline bridge.
    Bridge,
    /// The host this program runs on: without it nothing is measured, but the path stands.
    Agent,
    /// Something else, or not known.
    #[default]
    Unknown,
}

/// A piece of network gear on the path.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gear {
    /// Its name in the site file.
    pub name: String,
    /// Where its power comes from.
    pub powered_by: PoweredBy,
    /// What it is.
    #[serde(default)]
    pub kind: GearKind,
    /// What it draws.
    #[serde(default)]
    pub draws: Option<Watts>,
    /// The backup it hangs on, by name.
    #[serde(default)]
    pub backup: Option<String>,
    /// How long it ran without mains, measured.
    #[serde(default)]
    pub measured: Option<Hours>,
}

/// A battery backup for network gear.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Backup {
    /// Its name in the site file.
    pub name: String,
    /// Its battery's energy.
    pub energy: Option<WattHours>,
    /// Or its battery's charge,
    pub charge: Option<AmpHours>,
    /// at this voltage,
    pub volts: Option<Volts>,
    /// drawn over this time,
    pub rated_over: Option<Hours>,
    /// with this Peukert exponent.
    pub exponent: Option<Exponent>,
    /// Share the inverter passes on, percent.
    pub inverter_percent: Option<u32>,
    /// Share of the battery that may be drawn, percent.
    pub usable_percent: Option<u32>,
    /// How old the battery is.
    pub age: Option<Years>,
    /// What the backup draws for itself.
    pub own_draw: Option<Watts>,
}

/// What hangs on the panel's auxiliary output.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Device {
    /// Its name in the site file.
    pub name: String,
    /// What it draws on standby.
    pub standby: Milliamps,
    /// What it draws in alarm.
    pub alarm: Milliamps,
}

/// What is known of the alarm panel. Nothing is ever sent to it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Panel {
    /// What its auxiliary output may deliver, mA.
    pub aux_limit_ma: Option<u32>,
    /// What already hangs on it, mA, where no device is named.
    pub aux_load_ma: Option<u32>,
    /// The communicator's hardware address.
    pub communicator_mac: Option<[u8; 6]>,
    /// The communicator's usual draw.
    #[serde(default)]
    pub communicator_idle: Option<Milliamps>,
    /// The communicator's greatest draw.
    #[serde(default)]
    pub communicator_most: Option<Milliamps>,
    /// What the panel's own board draws on standby.
    #[serde(default)]
    pub board_standby: Option<Milliamps>,
    /// What the panel's own board and sounders draw in alarm.
    #[serde(default)]
    pub board_alarm: Option<Milliamps>,
    /// Its battery.
    #[serde(default)]
    pub battery: Option<AmpHours>,
    /// How old that battery is.
    #[serde(default)]
    pub battery_age: Option<Years>,
    /// Where that battery is, how cold or warm.
    #[serde(default)]
    pub battery_at: Option<Celsius>,
    /// How long it must run without mains, by whose rule.
    #[serde(default)]
    pub standby: Option<Standby>,
    /// Its firmware.
    #[serde(default)]
    pub firmware: Option<Version>,
    /// The least firmware the communicator works with.
    #[serde(default)]
    pub firmware_least: Option<Version>,
}

/// The run between panel and communicator.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wiring {
    /// Length of the cable, one way.
    pub length: Option<Metres>,
    /// Size of its conductors.
    pub gauge: Option<Gauge>,
    /// How they are made; `None`: stranded, the worse.
    pub strand: Option<Strand>,
    /// How warm the cable gets.
    pub at: Option<Celsius>,
    /// The current; `None`: the communicator's greatest.
    pub current: Option<Milliamps>,
    /// The supply's voltage when its battery is low.
    pub source: Option<Volts>,
    /// The least the device works with.
    pub least: Option<Volts>,
    /// How the data lines run.
    pub data: Option<Data>,
    /// The conductors as connected.
    pub conductors: Vec<Conductor>,
}

/// What is known of the mains supply.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mains {
    /// The US state, for its published indices.
    pub state: Option<String>,
    /// Sustained interruptions a year (SAIFI), where entered.
    pub saifi: Option<PerYear>,
    /// Their mean length (CAIDI), where entered.
    pub caidi: Option<Hours>,
    /// Momentary interruptions a year (MAIFI), where entered.
    pub momentary: Option<PerYear>,
    /// How long the gear takes to carry again after mains returns.
    pub restart: Option<Hours>,
    /// How long the provider's equipment in the street runs without mains.
    pub street: Option<Hours>,
    /// How long the path must stand without mains.
    pub needed: Option<Hours>,
    /// How long a bigger battery would carry the gear.
    pub bigger_battery: Option<Hours>,
    /// What that battery costs, in the reader's own money.
    pub battery_price: Option<u32>,
    /// How long such a battery lasts.
    pub battery_lasts: Option<Years>,
}

/// What is known of a cellular second path.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cellular {
    /// Hours a year in which it is down.
    pub hours_down: Option<u32>,
    /// Share of the better path's failures common to both, percent.
    pub shared_percent: Option<u32>,
    /// What it costs a month, in the reader's own money.
    pub monthly_fee: Option<u32>,
    /// How long its mast runs without mains.
    pub holds: Option<Hours>,
}

/// A time that a drill measured.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DrilledTime {
    /// How long: what can be counted on.
    pub lasted: Hours,
    /// Whether it went on then: so long at the least.
    pub still: bool,
    /// The day of the drill.
    pub on: String,
}

/// What drills measured at the site: it goes before what was entered or worked out.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drilled {
    /// How long the path carried without mains.
    pub carries: Option<DrilledTime>,
    /// How long it took to carry again.
    pub restart: Option<DrilledTime>,
}

/// Everything known of a site's power.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Power {
    /// The site's own mark.
    pub site: String,
    /// What is believed of the line.
    pub line: Prior,
    /// Whether the whole chain of gear is on a backup.
    pub backed: Option<bool>,
    /// How long that backup carries all of it, measured.
    pub carries: Option<Hours>,
    /// Hours a year the gear is without power, where somebody entered them.
    pub hours_down: Option<u32>,
    /// The mains supply.
    pub mains: Mains,
    /// Network gear.
    pub gear: Vec<Gear>,
    /// Battery backups.
    pub backups: Vec<Backup>,
    /// The alarm panel.
    pub panel: Panel,
    /// What hangs on it.
    pub devices: Vec<Device>,
    /// The run to the communicator.
    pub wiring: Wiring,
    /// A second path.
    pub cellular: Cellular,
    /// What drills measured.
    pub drilled: Drilled,
}
