//! What a year without mains costs the path: the mains part of the outlook, joined with the network part.
//!
//! Decides which indices are used (entered, else the mean of the state's published years), the interval of what they let
//! expect, and what a mains failure takes from a cellular path too: everything beyond the panel's own battery and the
//! mast's. The joining is `judge::outlook`, so the sheet and a survey's report say the same. An average customer's
//! indices are not this site's: it may be better or worse than any interval here shows.

use super::battery;
use super::chain;
use super::given::Power;
use super::indices::{self, Indices};
use super::mains::{Case, Lengths, RESTART};
use super::units::{Hours, Milliamps, PerYear};
use crate::judge::outlook::{Assumed, Outlook, believed};
use crate::judge::stats::special::normal_quantile;
use crate::judge::{Micros, Standby};

pub use crate::judge::Stands;

/// Where the indices come from.
#[derive(Clone, Debug, PartialEq)]
pub enum Basis {
    /// Entered in the site file.
    Entered,
    /// Published of this area, from so many years.
    Published(&'static str, usize),
}

/// The mains part of the outlook.
#[derive(Clone, Debug, PartialEq)]
pub struct MainsOutlook {
    /// Where the indices come from.
    pub basis: Basis,
    /// What it was worked out from.
    pub case: Case,
    /// Whether the ride-through is known; else none was taken.
    pub ride_known: bool,
    /// Hours a year: less in one of twenty worlds like this, to expect, more in one of twenty.
    pub hours: [Hours; 3],
    /// The same without major event days, where published.
    pub ordinary: Option<Hours>,
}

/// Least and most of what an index may be, whatever a record says.
const OFTEN: [f64; 2] = [0.01, 100.0];
const LASTS: [f64; 2] = [1.0 / 12.0, 240.0];

fn held(i: Indices) -> Indices {
    Indices {
        saifi: PerYear::of(i.saifi.get().clamp(OFTEN[0], OFTEN[1])),
        caidi: Hours::of(i.caidi.get().clamp(LASTS[0], LASTS[1])),
    }
}

/// The indices a site goes by, where they come from, and those without major event days.
fn basis(power: &Power) -> Option<(Basis, Indices, Option<Indices>)> {
    if let (Some(saifi), Some(caidi)) = (power.mains.saifi, power.mains.caidi) {
        return Some((Basis::Entered, held(Indices { saifi, caidi }), None));
    }
    let area = indices::published(power.mains.state.as_deref()?)?;
    let all = indices::mean(&area.all)?;
    Some((Basis::Published(area.name, area.all.len()), held(all), indices::mean(&area.ordinary).map(held)))
}

/// The mains part; `None` where neither state nor indices are known.
pub fn mains(power: &Power) -> Option<MainsOutlook> {
    let (basis, indices, ordinary) = basis(power)?;
    let ride = chain::ride_through(power);
    let case = Case {
        indices,
        momentary: power.mains.momentary.unwrap_or(PerYear::of(0.0)),
        ride_through: ride.unwrap_or(Hours::of(0.0)),
        restart: restart(power).unwrap_or(RESTART),
        street: power.mains.street,
    };
    let years = match basis {
        Basis::Entered => 1,
        Basis::Published(_, years) => years,
    };
    // Years differ mostly in how long interruptions last, so the interval is carried by that.
    let spread = indices::spread_of_years() / (years as f64).sqrt();
    let with = |i: Indices| Case { indices: i, ..case }.expected();
    let hours = [0.05, 0.5, 0.95].map(|p| {
        let caidi = indices.caidi.times((spread * normal_quantile(p)).exp());
        with(held(Indices { caidi, ..indices }))
    });
    Some(MainsOutlook { basis, case, ride_known: ride.is_some(), hours, ordinary: ordinary.map(with) })
}

/// How long the panel runs without mains: worked out from its battery where everything is known, else by the rule
/// named; with where it comes from.
pub fn panel_holds(power: &Power) -> Option<(Hours, &'static str)> {
    let p = &power.panel;
    let drawn = panel_currents(power).map(|(standby, _)| standby).filter(|i| i.get() > 0.0);
    match (p.battery, drawn, p.standby) {
        (Some(battery), Some(current), _) => {
            let left = battery.times(chain::health(p.battery_age.unwrap_or(chain::AGE_UNKNOWN)));
            Some((Hours::of(left.get() / (current.get() / 1e3)), "worked out from its battery"))
        }
        (_, _, Some(rule)) => Some((rule.hours().0, "the rule named")),
        _ => None,
    }
}

/// What the panel's battery feeds on standby and in alarm: board, devices and communicator; `None` where the board or
/// what hangs on the panel is not known.
pub fn panel_currents(power: &Power) -> Option<(Milliamps, Milliamps)> {
    let p = &power.panel;
    let hanging = super::aux::devices(p, &power.devices)?;
    let most = super::aux::communicator_most(p);
    let idle = p.communicator_idle.unwrap_or(most);
    Some((p.board_standby? + hanging.standby + idle, p.board_alarm? + hanging.alarm + most))
}

/// Hours a year in which mains takes both paths: beyond the network gear's time, and beyond the panel's battery or the
/// mast's, whichever of these ends first. `None` where neither is known, or the indices are not.
pub fn common(power: &Power) -> Option<Hours> {
    let hold = match (panel_holds(power).map(|(h, _)| h), power.cellular.holds) {
        (Some(a), Some(b)) => a.min(b),
        (a, b) => a.or(b)?,
    };
    let case = mains(power)?.case;
    // Both are down only once both have ended.
    let beyond = Lengths::with_mean(case.indices.caidi).beyond(hold.max(case.limit()));
    Some(beyond.times(case.indices.saifi.get()))
}

/// What the judge's outlook takes as given: entered hours go before those worked out.
pub fn assumed(power: &Power) -> Assumed {
    let worked_out = if power.hours_down.is_some() { None } else { mains(power) };
    let c = &power.cellular;
    Assumed {
        mains_hours: power.hours_down.map(f64::from).or(worked_out.as_ref().map(|m| m.hours[1].get())),
        mains_bounds: worked_out.as_ref().map(|m| [m.hours[0].get(), m.hours[2].get()]),
        mains_common_hours: worked_out.and_then(|_| common(power)).map(Hours::get),
        cellular_hours: c.hours_down.map(f64::from),
        shared: c.shared_percent.map(|p| f64::from(p) / 100.0),
        monthly_fee: c.monthly_fee.map(f64::from),
    }
}

/// The whole outlook before anything is watched, from what is published of the kind of line; `None` where the kind is
/// not known.
pub fn joined(power: &Power) -> Option<Outlook> {
    believed(&power.line, &assumed(power))
}

/// How long the path must stand without mains: entered, else as long as the panel must.
pub fn needed(power: &Power) -> Option<Hours> {
    power.mains.needed.or(power.panel.standby.map(|s| s.hours().0))
}

/// Whether it does; `None` where what is needed or the ride-through is not known.
pub fn stands(power: &Power) -> Option<Stands> {
    let needed = needed(power)?;
    if power.mains.street.is_some_and(|street| street < needed) {
        return Some(Stands::NoBatteryMends);
    }
    let ride = chain::ride_through(power)?;
    if ride < needed {
        return Some(Stands::BatteryMends);
    }
    // Gear that holds says nothing of the street's; a drill that carried so long went through the street as well.
    (power.mains.street.is_some() || power.drilled.carries.is_some()).then_some(Stands::LongEnough)
}

/// The same for the judge, with the figures; `None` as above.
pub fn standby(power: &Power) -> Option<Standby> {
    let (stands, needed) = (stands(power)?, needed(power)?);
    let micros = |h: Hours| Micros((h.get() * 3.6e9) as i64);
    let holds = match (chain::ride_through(power), power.mains.street) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    let drilled = power.drilled.carries.as_ref().map(|d| d.on.clone());
    Some(Standby { stands, needed: micros(needed), holds: holds.map(micros), drilled })
}

/// How long the gear takes to carry again after mains returns: drilled, else entered.
pub fn restart(power: &Power) -> Option<Hours> {
    power.drilled.restart.as_ref().map(|d| d.lasted).or(power.mains.restart)
}

/// The least charge the panel's battery must have; `None` where its load or the rule is not known, or the temperature
/// is outside what the factor is known for.
pub fn panel_battery(power: &Power, rule: battery::Standby) -> Option<super::units::AmpHours> {
    let (standby, alarm) = panel_currents(power)?;
    let at = power.panel.battery_at.unwrap_or(super::units::Celsius::of(25.0));
    let factor = battery::AGEING * battery::temperature_factor(at)?;
    Some(battery::drawn(standby, rule.hours().0, alarm, battery::ALARM).times(factor))
}

#[cfg(test)]
mod tests {
    use super::super::battery::Standby;
    use super::super::given::{Gear, Mains, Panel, PoweredBy};
    use super::super::units::AmpHours;
    use super::*;
    use crate::judge::{Access, Prior};

    fn site(state: &str) -> Power {
        Power {
            mains: Mains { state: Some(state.into()), ..Mains::default() },
            gear: vec![Gear { name: "router".into(), powered_by: PoweredBy::Wall, ..Gear::default() }],
            line: Prior { access: Some(Access::Fibre), ..Prior::default() },
            ..Power::default()
        }
    }

    #[test]
    fn without_a_backup_a_state_expects_its_saidi_and_restarts() {
        let m = mains(&site("texas")).expect("a state");
        // [EIA23] table 11.2: the mean of two years' SAIDI, and 5 min for each interruption.
        let rows = indices::published("texas").expect("a state").all;
        let minutes = f64::midpoint(rows[0].saidi, rows[1].saidi) + 5.0 * f64::midpoint(rows[0].saifi, rows[1].saifi);
        assert!((m.hours[1].in_minutes() - minutes).abs() < 1e-6);
        assert!(m.hours[0] < m.hours[1] && m.hours[1] < m.hours[2] && m.ride_known);
        assert!(m.ordinary.expect("published") < m.hours[1]);
        assert_eq!(mains(&Power::default()), None);
    }

    #[test]
    fn entered_hours_go_before_worked_out_ones() {
        let mut power = site("texas");
        assert!(assumed(&power).mains_bounds.is_some());
        power.hours_down = Some(3);
        let a = assumed(&power);
        assert_eq!((a.mains_hours, a.mains_bounds), (Some(3.0), None));
    }

    #[test]
    fn the_joined_outlook_counts_mains_once_and_cellular_helps() {
        let mut power = site("united-states-average");
        power.panel = Panel { standby: Some(Standby::UsHousehold), ..Panel::default() };
        let (o, m) = (joined(&power).expect("a kind of line"), mains(&power).expect("a state"));
        let more = o.ip_alone.middle - o.network.middle;
        assert!(more <= m.hours[1].get() && more > 0.98 * m.hours[1].get(), "{more} {:?}", m.hours);
        assert!(o.with_cellular.middle < o.ip_alone.middle);
        // What mains takes from both is left whatever the cellular path is worth.
        let common = common(&power).expect("4 h by the rule");
        assert!(o.with_cellular.middle >= common.get() && common < m.hours[1]);
    }

    #[test]
    fn what_mains_takes_from_both_is_never_more_than_it_takes_from_one() {
        let mut power = site("ohio");
        power.gear.clear();
        let mut before = f64::INFINITY;
        for ride in [0.0, 30.0, 120.0, 240.0, 480.0, 2_000.0] {
            power.carries = Some(Hours::minutes(ride));
            power.cellular.holds = Some(Hours::of(4.0));
            let (both, one) = (common(&power).expect("known"), mains(&power).expect("a state").hours[1]);
            assert!(both <= one && both.get() <= before, "{ride} min: {both} of {one}");
            before = both.get();
        }
    }

    #[test]
    fn a_shorter_standby_is_mended_by_a_battery_unless_the_street_ends_first() {
        let mut power = site("ohio");
        assert_eq!(stands(&power), None);
        power.mains.needed = Some(Hours::of(4.0));
        assert_eq!(stands(&power), Some(Stands::BatteryMends));
        power.mains.street = Some(Hours::of(2.0));
        assert_eq!(stands(&power), Some(Stands::NoBatteryMends));
        power.mains.street = None;
        power.gear[0] = Gear { powered_by: PoweredBy::Backup, measured: Some(Hours::of(4.5)), ..power.gear[0].clone() };
        // The gear holds; whether the street does, nobody said.
        assert_eq!(stands(&power), None);
        power.mains.street = Some(Hours::of(8.0));
        assert_eq!(stands(&power), Some(Stands::LongEnough));
    }

    #[test]
    fn the_panels_battery_lasts_by_what_it_feeds() {
        let mut power = site("ohio");
        power.panel = Panel {
            aux_load_ma: Some(100),
            board_standby: Some(Milliamps::of(100.0)),
            board_alarm: Some(Milliamps::of(500.0)),
            communicator_idle: Some(Milliamps::of(80.0)),
            battery: Some(AmpHours::of(7.0)),
            battery_age: Some(super::super::units::Years::of(0.0)),
            ..Panel::default()
        };
        let (hours, _) = panel_holds(&power).expect("all known");
        assert!((hours.get() - 7.0 / 0.28).abs() < 1e-9);
        // 0.28 A over 4 h and 0.675 A over 15 min, a quarter more for age.
        let need = panel_battery(&power, Standby::UsHousehold).expect("all known").get();
        assert!((need - (1.12 + 0.168_75) * 1.25).abs() < 1e-9, "{need}");
    }

    #[test]
    fn a_street_that_holds_just_as_long_as_is_needed_is_no_fault() {
        let mut power = site("ohio");
        power.mains.needed = Some(Hours::of(4.0));
        power.mains.street = Some(Hours::of(4.0));
        assert_eq!(stands(&power), Some(Stands::BatteryMends), "its own gear has no backup");
    }
}
