//! The sections for power and wiring, typed: `[mains]`, `[[gear]]`, `[[backup]]`, `[cellular]`, `[panel]`, `[[device]]`,
//! `[wiring]`, `[[conductor]]`. Fills nothing in; the worksheets say what they take where nobody said.

use super::row::{Row, Rows, each, of_word, single};
use crate::site::plan::Background;
use crate::site::value::Value;
use crate::worksheet::conductor::Conductor;
use crate::worksheet::copper::Gauge;
use crate::worksheet::firmware::Version;
use crate::worksheet::given::{Backup, Device, Gear, Mains, Panel, Wiring};

/// What activates the communicator, as entered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Activation {
    /// Its serial number.
    pub serial: Option<String>,
    /// Its activation code.
    pub code: Option<String>,
}

const PASSED: &str = "it passed its own form";

impl Row {
    /// A quantity, in the unit its type keeps.
    fn amount<T: TryFrom<f64, Error = String>>(&mut self, key: &'static str) -> Option<T> {
        match self.take(key)? {
            Value::Amount(x) => Some(T::try_from(x.0).expect("the table of keys keeps quantities within their types")),
            other => unreachable!("{key} passed a form of quantity, yet it is {other:?}"),
        }
    }

    fn needed_amount<T: TryFrom<f64, Error = String>>(&mut self, key: &'static str) -> T {
        self.amount(key).expect("load refuses a section without it")
    }

    fn optional_word<T: serde::de::DeserializeOwned>(&mut self, key: &'static str) -> Option<T> {
        self.text(key).map(|word| of_word(&word))
    }

    fn version(&mut self, key: &'static str) -> Option<Version> {
        self.text(key).map(|text| Version::read(&text).expect(PASSED))
    }
}

/// Takes every section of power out of the rows and into the background.
pub(super) fn read(rows: &mut Rows, into: &mut Background) -> Activation {
    let mut mains = single(rows, "mains");
    into.mains_backed = mains.flag("backed");
    into.backup_minutes = mains.whole("minutes");
    into.mains_hours = mains.whole("hours_down_per_year");
    into.mains = Mains {
        state: mains.text("state"),
        saifi: mains.amount("saifi"),
        caidi: mains.amount("caidi"),
        momentary: mains.amount("momentary"),
        restart: mains.amount("restart"),
        street: mains.amount("street"),
        needed: mains.amount("needed"),
        bigger_battery: mains.amount("bigger_battery"),
        battery_price: mains.whole("battery_price"),
        battery_lasts: mains.amount("battery_lasts"),
    };
    mains.finish();

    let mut cellular = single(rows, "cellular");
    into.cellular_hours = cellular.whole("hours_down_per_year");
    into.shared_percent = cellular.whole("shared_percent");
    into.monthly_fee = cellular.whole("monthly_fee");
    into.mast_holds = cellular.amount("holds");
    cellular.finish();

    into.gear = each(rows, "gear", |r| Gear {
        name: r.needed_text("name"),
        powered_by: r.word("powered_by"),
        kind: r.word("kind"),
        draws: r.amount("draws"),
        backup: r.text("backup"),
        measured: r.amount("measured"),
    });
    into.backups = each(rows, "backup", |r| Backup {
        name: r.needed_text("name"),
        energy: r.amount("energy"),
        charge: r.amount("charge"),
        volts: r.amount("volts"),
        rated_over: r.amount("rated_over"),
        exponent: r.amount("exponent"),
        inverter_percent: r.whole("inverter_percent"),
        usable_percent: r.whole("usable_percent"),
        age: r.amount("age"),
        own_draw: r.amount("own_draw"),
    });
    panel(rows, into)
}

fn panel(rows: &mut Rows, into: &mut Background) -> Activation {
    let mut panel = single(rows, "panel");
    let activation = Activation { serial: panel.text("communicator_serial"), code: panel.text("activation") };
    into.panel = Panel {
        aux_limit_ma: panel.whole("aux_limit_ma"),
        aux_load_ma: panel.whole("aux_load_ma"),
        communicator_mac: match panel.take("communicator_mac") {
            Some(Value::Hardware(mac)) => Some(mac),
            None => None,
            other => unreachable!("communicator_mac passed its form, yet it is {other:?}"),
        },
        communicator_idle: panel.amount("communicator_idle"),
        communicator_most: panel.amount("communicator_most"),
        board_standby: panel.amount("board_standby"),
        board_alarm: panel.amount("board_alarm"),
        battery: panel.amount("battery"),
        battery_age: panel.amount("battery_age"),
        battery_at: panel.amount("battery_at"),
        standby: panel.optional_word("standby"),
        firmware: panel.version("firmware"),
        firmware_least: panel.version("firmware_least"),
    };
    panel.finish();
    into.devices = each(rows, "device", |r| {
        let (name, standby) = (r.needed_text("name"), r.needed_amount("standby"));
        Device { name, standby, alarm: r.amount("alarm").unwrap_or(standby) }
    });
    let mut wiring = single(rows, "wiring");
    into.wiring = Wiring {
        length: wiring.amount("length"),
        gauge: wiring.text("gauge").map(|text| Gauge::read(&text).expect(PASSED)),
        strand: wiring.optional_word("strand"),
        at: wiring.amount("at"),
        current: wiring.amount("current"),
        source: wiring.amount("source"),
        least: wiring.amount("least"),
        data: wiring.optional_word("data"),
        conductors: each(rows, "conductor", |r| Conductor {
            colour: r.needed_text("colour"),
            panel: r.word("panel"),
            device: r.word("device"),
        }),
    };
    wiring.finish();
    activation
}
