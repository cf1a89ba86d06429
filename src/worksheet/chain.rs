//! The chain of boxes a signal passes: how long all of them work without mains.
//!
//! Decides each box's time on its backup, from a measurement where there is one, else worked out, and the chain's: the
//! shortest wins. A box on a plain or switched outlet breaks the chain the moment mains fails. The host this program
//! runs on is listed but is no link of the chain: without it nothing is measured, but the path stands.

use super::given::{Backup, Gear, GearKind, Power, PoweredBy};
use super::runtime::{self, Losses, Rated};
use super::units::{Exponent, Hours, Watts, Years};

/// How one box stands when mains is away.
#[derive(Clone, Debug, PartialEq)]
pub enum Held {
    /// For so long, measured at the site.
    Measured(Hours),
    /// For so long by its label and load: an upper bound.
    WorkedOut(Hours),
    /// Not at all, and why.
    Breaks(&'static str),
    /// Nobody can say, and what is missing.
    Unknown(&'static str),
}

/// One box of the chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Its name.
    pub name: String,
    /// What it draws, and whether that was entered.
    pub draws: Option<(Watts, bool)>,
    /// How it stands.
    pub held: Held,
    /// False for the host this program runs on.
    pub carries_signal: bool,
}

/// How the whole chain stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Whole {
    /// Every box is known: so long, which box gives out first, and whether all that decides was measured.
    Holds(Hours, String, bool),
    /// Not at all: this box breaks it, for this reason.
    Breaks(String, &'static str),
    /// So much at the most, where any box is known; this box is not known.
    Unknown(Option<Hours>, String),
    /// No box was named.
    NoGear,
}

/// Share of an inverter's input that comes out where nobody says (0.85 to 0.95, the worse: common practice,
/// no source).
pub const INVERTER: f64 = 0.85;
/// Peukert exponent of sealed lead-acid where nobody says (1.05 to 1.15, the worse: common
/// practice, no source).
pub const EXPONENT: Exponent = Exponent::of(1.15);
/// Hours over which lead-acid is rated where nobody says (usual: common practice, no source).
pub const RATED_OVER: Hours = Hours::of(20.0);
/// Age taken for a battery of unknown age: old enough to be replaced (choice; commonly replaced every 3 to 5
/// years: common practice, no source).
pub const AGE_UNKNOWN: Years = Years::of(4.0);

/// Share of its rating a battery of this age still has: 5 % a year less, so that four years bring the 80 % at which it
/// is to be replaced (choice), and never taken under a half.
pub fn health(age: Years) -> f64 {
    (1.0 - 0.05 * age.get()).max(0.5)
}

impl GearKind {
    /// What such gear draws where nobody says: twice the base allowance of the ENERGY STAR specification for small
    /// network equipment, version 1 draft 3 (second-hand) [ENSTAR13], which is before all adders. Twice is a
    /// choice: it puts an optical terminal and a router at 15 W, the top of what such a pair is planned with.
    pub fn usual_draw(self) -> Option<Watts> {
        let base = match self {
            Self::CableModem => 5.7,
            Self::DslModem => 4.0,
            Self::OpticalTerminal => 4.4,
            Self::CableGateway => 6.1,
            Self::DslGateway => 7.5,
            Self::Router => 3.1,
            Self::AccessPoint | Self::Bridge => 2.0,
            Self::Switch => 0.6,
            Self::Agent | Self::Unknown => return None,
        };
        Some(Watts::of(2.0 * base))
    }
}

/// Every box, in the order of the site file.
pub fn stages(power: &Power) -> Vec<Stage> {
    power.gear.iter().map(|g| stage(g, power)).collect()
}

fn stage(gear: &Gear, power: &Power) -> Stage {
    let held = match (gear.measured, gear.powered_by) {
        (Some(t), PoweredBy::Backup) => Held::Measured(t),
        (_, PoweredBy::Wall) => Held::Breaks("it is on a plain outlet, not on a backup"),
        (_, PoweredBy::SwitchedOutlet) => Held::Breaks("it is on a switched outlet, not on a backup"),
        (_, PoweredBy::Unknown) => Held::Unknown("where its power comes from is not known"),
        (None, PoweredBy::Backup) => match backup_of(gear, &power.backups) {
            None => Held::Unknown("its backup is not described in the site file"),
            Some(backup) => lasts(backup, power).map_or_else(Held::Unknown, Held::WorkedOut),
        },
    };
    Stage { name: gear.name.clone(), draws: draws(gear), held, carries_signal: gear.kind != GearKind::Agent }
}

fn draws(gear: &Gear) -> Option<(Watts, bool)> {
    gear.draws.map(|w| (w, true)).or_else(|| gear.kind.usual_draw().map(|w| (w, false)))
}

/// The backup a box hangs on: the one it names, or the only one there is.
pub fn backup_of<'b>(gear: &Gear, backups: &'b [Backup]) -> Option<&'b Backup> {
    match (&gear.backup, backups) {
        (Some(name), all) => all.iter().find(|b| b.name == *name),
        (None, [only]) => Some(only),
        (None, _) => None,
    }
}

/// Everything that hangs on a backup; the error is what is missing.
pub fn load(backup: &Backup, power: &Power) -> Result<Watts, &'static str> {
    let on = power
        .gear
        .iter()
        .filter(|g| g.powered_by == PoweredBy::Backup)
        .filter(|g| backup_of(g, &power.backups).is_some_and(|b| b.name == backup.name));
    let mut sum = backup.own_draw.unwrap_or(Watts::of(0.0));
    for gear in on {
        sum = sum + draws(gear).ok_or("what one of the boxes on its backup draws is not known")?.0;
    }
    if sum.get() > 0.0 { Ok(sum) } else { Err("nothing draws on its backup") }
}

/// What a backup loses, each share from the site file or the default named above.
pub fn losses(backup: &Backup) -> Losses {
    let share = |percent: Option<u32>, otherwise: f64| percent.map_or(otherwise, |p| f64::from(p) / 100.0);
    Losses {
        usable: share(backup.usable_percent, 1.0),
        inverter: share(backup.inverter_percent, INVERTER),
        age: health(backup.age.unwrap_or(AGE_UNKNOWN)),
    }
}

/// How long a backup carries what hangs on it; the error is what is missing.
pub fn lasts(backup: &Backup, power: &Power) -> Result<Hours, &'static str> {
    let (load, losses) = (load(backup, power)?, losses(backup));
    match (backup.charge, backup.volts, backup.energy) {
        (Some(charge), Some(volts), _) => {
            let rated = Rated { charge, over: backup.rated_over.unwrap_or(RATED_OVER) };
            let by_rate = runtime::by_charge(rated, volts, backup.exponent.unwrap_or(EXPONENT), losses, load);
            // A slow discharge may give more than the label; nobody should count on it.
            Ok(by_rate.min(runtime::by_energy(charge * volts, losses, load)))
        }
        (_, _, Some(energy)) => Ok(runtime::by_energy(energy, losses, load)),
        (Some(_), None, None) => Err("its backup's battery voltage is not known"),
        (None, _, None) => Err("the size of its backup's battery is not known"),
    }
}

/// The chain as a whole.
pub fn whole(stages: &[Stage]) -> Whole {
    let links = || stages.iter().filter(|s| s.carries_signal);
    if links().next().is_none() {
        return Whole::NoGear;
    }
    if let Some((name, why)) = links().find_map(|s| match s.held {
        Held::Breaks(why) => Some((s.name.clone(), why)),
        _ => None,
    }) {
        return Whole::Breaks(name, why);
    }
    let known = links().filter_map(|s| match s.held {
        Held::Measured(t) => Some((t, s.name.clone(), true)),
        Held::WorkedOut(t) => Some((t, s.name.clone(), false)),
        _ => None,
    });
    let shortest = known.min_by(|a, b| a.0.get().total_cmp(&b.0.get()));
    match (links().find(|s| matches!(s.held, Held::Unknown(_))), shortest) {
        (Some(unknown), shortest) => Whole::Unknown(shortest.map(|s| s.0), unknown.name.clone()),
        (None, Some((hours, name, measured))) => Whole::Holds(hours, name, measured),
        (None, None) => Whole::NoGear,
    }
}

/// How long the network gear works without mains: drilled, else measured for all of it, else by the chain; `None`: not
/// known. A drill after which the path still carried measured the least it lasts, no more.
pub fn ride_through(power: &Power) -> Option<Hours> {
    let otherwise = undrilled(power);
    match &power.drilled.carries {
        None => otherwise,
        Some(d) if d.still => Some(otherwise.map_or(d.lasted, |o| o.max(d.lasted))),
        Some(d) => Some(d.lasted),
    }
}

fn undrilled(power: &Power) -> Option<Hours> {
    match (power.backed, power.carries, whole(&stages(power))) {
        (_, _, Whole::Breaks(..)) | (Some(false), _, _) => Some(Hours::of(0.0)),
        (_, Some(measured), Whole::Holds(chain, _, true)) => Some(measured.min(chain)),
        (_, Some(measured), _) => Some(measured),
        (_, None, Whole::Holds(hours, ..)) => Some(hours),
        (_, None, Whole::Unknown(..) | Whole::NoGear) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::given::{Drilled, DrilledTime};
    use super::super::units::{AmpHours, Volts, WattHours};
    use super::*;

    fn backup(name: &str) -> Backup {
        Backup { name: name.into(), energy: Some(WattHours::of(84.0)), age: Some(Years::of(0.0)), ..Backup::default() }
    }

    fn gear(name: &str, powered_by: PoweredBy, watts: f64) -> Gear {
        Gear { name: name.into(), powered_by, draws: Some(Watts::of(watts)), ..Gear::default() }
    }

    fn site(gear: Vec<Gear>, backups: Vec<Backup>) -> Power {
        Power { gear, backups, ..Power::default() }
    }

    #[test]
    fn boxes_on_one_backup_share_it_and_the_shortest_wins() {
        let mut far = gear("bridge", PoweredBy::Backup, 6.0);
        far.backup = Some("small".into());
        let mut near = [gear("line terminal", PoweredBy::Backup, 5.0), gear("router", PoweredBy::Backup, 7.0)];
        for g in &mut near {
            g.backup = Some("large".into());
        }
        let small = Backup { energy: Some(WattHours::of(20.0)), ..backup("small") };
        let power = site([near.to_vec(), vec![far]].concat(), vec![backup("large"), small]);
        // By hand [HAND26]: 84 Wh x 0.85 / 12 W = 357.0 min new.
        let Held::WorkedOut(t) = stages(&power)[0].held else { panic!("{:?}", stages(&power)) };
        assert!((t.in_minutes() - 357.0).abs() < 1e-6, "{t}");
        let Whole::Holds(t, name, false) = whole(&stages(&power)) else { panic!() };
        assert_eq!(name, "bridge");
        assert!((t.in_minutes() - 20.0 * 0.85 / 6.0 * 60.0).abs() < 1e-9);
        assert_eq!(ride_through(&power), Some(t));
    }

    #[test]
    fn a_box_not_on_backup_breaks_the_chain_whatever_the_others_do() {
        for (by, word) in [(PoweredBy::Wall, "plain outlet"), (PoweredBy::SwitchedOutlet, "switched outlet")] {
            let power = site(vec![gear("router", PoweredBy::Backup, 8.0), gear("switch", by, 1.0)], vec![backup("b")]);
            let Whole::Breaks(name, why) = whole(&stages(&power)) else { panic!() };
            assert!(name == "switch" && why.contains(word), "{why}");
            assert_eq!(ride_through(&power), Some(Hours::of(0.0)));
        }
    }

    #[test]
    fn the_agent_is_no_link_of_the_chain() {
        let agent = Gear { kind: GearKind::Agent, ..gear("this host", PoweredBy::Wall, 3.0) };
        let power = site(vec![gear("router", PoweredBy::Backup, 8.0), agent], vec![backup("b")]);
        assert!(matches!(whole(&stages(&power)), Whole::Holds(..)));
    }

    #[test]
    fn what_is_not_known_stays_so() {
        let power = site(
            vec![gear("router", PoweredBy::Backup, 8.0), gear("radio", PoweredBy::Unknown, 1.0)],
            vec![backup("b")],
        );
        assert!(matches!(whole(&stages(&power)), Whole::Unknown(Some(_), name) if name == "radio"));
        assert_eq!(ride_through(&power), None);
        assert_eq!(ride_through(&Power::default()), None);
        let mut lone = gear("router", PoweredBy::Backup, 8.0);
        lone.backup = Some("elsewhere".into());
        assert_eq!(ride_through(&site(vec![lone], vec![backup("b")])), None);
    }

    #[test]
    fn what_was_measured_goes_before_what_was_worked_out() {
        let mut router = gear("router", PoweredBy::Backup, 8.0);
        router.measured = Some(Hours::minutes(11.0));
        let mut power = site(vec![router], vec![backup("b")]);
        assert_eq!(ride_through(&power), Some(Hours::minutes(11.0)));
        power.carries = Some(Hours::minutes(9.0));
        assert_eq!(ride_through(&power), Some(Hours::minutes(9.0)));
    }

    #[test]
    fn a_drill_goes_before_everything_and_one_that_ended_early_is_a_least_time() {
        let drilled = |minutes, still| {
            let time = DrilledTime { lasted: Hours::minutes(minutes), still, on: "2026-11-25".into() };
            Drilled { carries: Some(time), restart: None }
        };
        let mut power = site(vec![gear("router", PoweredBy::Backup, 12.0)], vec![backup("b")]);
        let worked_out = ride_through(&power).expect("known");
        power.drilled = drilled(17.0, false);
        assert_eq!(ride_through(&power), Some(Hours::minutes(17.0)));
        power.drilled = drilled(17.0, true);
        assert_eq!(ride_through(&power), Some(worked_out));
        power.drilled = drilled(1_000.0, true);
        assert_eq!(ride_through(&power), Some(Hours::minutes(1_000.0)));
        power.gear[0].powered_by = PoweredBy::Unknown;
        power.drilled = drilled(17.0, true);
        assert_eq!(ride_through(&power), Some(Hours::minutes(17.0)));
    }

    #[test]
    fn a_slow_discharge_is_not_counted_as_more_than_the_label() {
        let b = Backup { energy: None, charge: Some(AmpHours::of(7.0)), volts: Some(Volts::of(12.0)), ..backup("b") };
        let power = site(vec![gear("router", PoweredBy::Backup, 2.0)], vec![b.clone()]);
        assert_eq!(lasts(&b, &power), Ok(Hours::of(84.0 * 0.85 / 2.0)));
        let heavy = site(vec![gear("router", PoweredBy::Backup, 24.0)], vec![b.clone()]);
        assert!(lasts(&b, &heavy).unwrap().get() < 84.0 * 0.85 / 24.0 - 0.3);
    }

    #[test]
    fn usual_draws_are_twice_the_published_allowance() {
        // Small network equipment, version 1 draft 3 [ENSTAR13]: 5.7, 4.0, 4.4, 3.1, 2.0, 0.6 W; planned with (choice): one
        // gateway 6 to 12 W, optical terminal and router 8 to 15 W.
        let w = |k: GearKind| k.usual_draw().expect("has one").get();
        assert!((w(GearKind::OpticalTerminal) + w(GearKind::Router) - 15.0).abs() < 1e-9);
        assert!((6.0..12.5).contains(&w(GearKind::CableGateway)));
        assert_eq!(GearKind::Unknown.usual_draw(), None);
    }

    #[test]
    fn an_old_battery_is_never_taken_for_less_than_half() {
        let of = |years| health(Years::of(years));
        assert!((of(4.0) - 0.8).abs() < 1e-12 && (of(15.0) - 0.5).abs() < 1e-12);
    }
}
