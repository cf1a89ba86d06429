//! The sheet's part on the network gear: each box on its backup, and the chain.

use super::line::{DRILL, FILE, Line, Part, Stand};
use crate::worksheet::chain::{self, Held, Stage, Whole};
use crate::worksheet::given::{DrilledTime, Gear, Power, PoweredBy};
use crate::worksheet::outlook::{Stands, needed, stands};
use crate::worksheet::units::Years;

pub(super) fn part(power: &Power) -> Part {
    let stages = chain::stages(power);
    let mut lines: Vec<Line> = power.gear.iter().zip(&stages).map(|(g, s)| one(g, s, power)).collect();
    lines.push(whole(power, &stages));
    lines.push(enough(power));
    Part {
        title: "Network gear without mains",
        cautions: vec![
            "A battery backup holds line voltage at its outlets even when unplugged: never open it.",
            "A new outlet, or moving one, is for a licensed electrician.",
        ],
        lines,
    }
}

const ENERGY: &str = "h = Wh x usable x inverter x health / W of everything on that backup";
const CHARGE: &str =
    "h = 20 x (Ah x health / (20 x A))^n, A = W / (V x inverter); never more than Wh x inverter x health / W";

fn one(gear: &Gear, stage: &Stage, power: &Power) -> Line {
    let line = Line::new(format!("{} on its backup", gear.name));
    let line = match (gear.powered_by, chain::backup_of(gear, &power.backups)) {
        (PoweredBy::Backup, Some(b)) if gear.measured.is_none() => {
            let by_charge = b.charge.is_some() && b.volts.is_some();
            let mut line = if by_charge {
                // [DOERFFEL06]
                line.formula(CHARGE, ("Peukert's law, written for the rated hours (its limits: Doerffel and Abu Sharkh, J. Power Sources 155 (2006) 395-400)", "D"))
            } else {
                line.formula(ENERGY, ("arithmetic", "D"))
            };
            let l = chain::losses(b);
            line = line.input("backup", b.name.clone(), FILE);
            if by_charge {
                if let (Some(charge), Some(volts)) = (b.charge, b.volts) {
                    line = line.input("battery", format!("{charge} at {volts}"), FILE);
                }
                line = line
                    .given("rated over", b.rated_over, || {
                        (
                            chain::RATED_OVER,
                            ("usual for sealed lead-acid: common practice, no source", "common practice"),
                        )
                    })
                    .given("Peukert exponent", b.exponent, || {
                        (
                            chain::EXPONENT,
                            (
                                "1.05 to 1.15 for sealed lead-acid, the worse: common practice, no source",
                                "common practice",
                            ),
                        )
                    });
            } else if let Some(energy) = b.energy {
                line = line.input("battery", energy, FILE);
            }
            let inverter = ("0.85 to 0.95, the worse: common practice, no source", "common practice");
            line = line
                .input(
                    "inverter",
                    format!("{:.0} %", l.inverter * 100.0),
                    if b.inverter_percent.is_some() { FILE } else { inverter },
                )
                .given("age of its battery", b.age.map(Years::words), || {
                    (chain::AGE_UNKNOWN.words(), ("not known: taken as due", "choice"))
                })
                .input("health", format!("{:.0} %", l.age * 100.0), ("5 % a year, a choice of this program", "choice"));
            match chain::load(b, power) {
                Ok(load) => {
                    let all = power.gear.iter().all(|g| g.draws.is_some() || g.powered_by != PoweredBy::Backup);
                    let allowance = ("twice the ENERGY STAR allowance of each kind not entered", "choice");
                    line.input("load on it", load, if all { FILE } else { allowance })
                }
                Err(_) => line,
            }
        }
        _ => line.formula("measured, or none: the outlet decides", ("the site file", "site file")),
    };
    let line = match &stage.held {
        Held::Measured(t) => line.result(Stand::Figure, format!("{} measured", t.words())),
        Held::WorkedOut(t) => line
            .result(Stand::Figure, format!("{} at the most", t.words()))
            .note("An upper bound: at light loads the backup's own draw rules. A drill measures it."),
        Held::Breaks(why) if stage.carries_signal => line
            .result(Stand::Short, format!("none: {why}"))
            .note("Put it on the battery side of a backup, on an outlet that is not switched, timed or behind a ground-fault breaker."),
        Held::Breaks(why) => line.result(Stand::Figure, format!("none: {why}")),
        Held::Unknown(why) => line.missing(why),
    };
    if stage.carries_signal {
        line
    } else {
        line.note("This host only watches: without it nothing is measured, but the path stands.")
    }
}

fn whole(power: &Power, stages: &[Stage]) -> Line {
    let line = Line::new("The chain: how long the path stands without mains")
        .formula("the shortest of its boxes; one that is not on a backup breaks it", ("reasoning", "D"));
    let mut line = match chain::whole(stages) {
        Whole::Holds(t, name, true) => {
            line.result(Stand::Figure, format!("{} (measured); {name} gives out first", t.words()))
        }
        Whole::Holds(t, name, false) => {
            line.result(Stand::Figure, format!("{} at the most; {name} gives out first", t.words()))
        }
        Whole::Breaks(name, why) => line.result(Stand::Short, format!("not at all: {name} breaks it, {why}")),
        Whole::Unknown(Some(t), name) => line.missing(&format!("{name} is not known; {} at the very most", t.words())),
        Whole::Unknown(None, name) => line.missing(&format!("{name} is not known")),
        Whole::NoGear => match (power.backed, power.carries) {
            (Some(false), _) => line.result(Stand::Short, "not at all: it is not on a backup"),
            (_, Some(t)) => line.result(Stand::Figure, format!("{} by the site file", t.words())),
            _ => line.missing("no gear is in the site file"),
        },
    };
    if let Some(d) = &power.drilled.carries {
        line = line.input("the path carried without mains, drilled", told(d), DRILL);
        if let Some(ride) = chain::ride_through(power).filter(|_| !d.still) {
            line = line.result(Stand::Figure, format!("{} by the drill of {}", ride.words(), d.on));
        } else if chain::ride_through(power) == Some(d.lasted) {
            line = line.result(Stand::Figure, format!("at least {} by the drill of {}", d.lasted.words(), d.on));
        }
    }
    if let Some(measured) = power.carries {
        line = line.input("measured for the whole chain", measured.words(), FILE);
    }
    if let Some(street) = power.mains.street {
        line = line.input("provider's street equipment", street.words(), FILE);
    }
    line
}

/// A drilled time in words.
fn told(d: &DrilledTime) -> String {
    let on = if d.still { "and still did, " } else { "" };
    format!("{} {on}on {}", d.lasted.words(), d.on)
}

fn enough(power: &Power) -> Line {
    let line =
        Line::new("Is that long enough?").formula("shorter of chain and street >= what is needed", ("reasoning", "D"));
    let Some(need) = needed(power) else {
        return line.missing("what is needed is not in the site file (needed, or the panel's standby rule)");
    };
    let from = if power.mains.needed.is_some() {
        FILE
    } else {
        ("the panel's standby rule", power.panel.standby.map_or("M", |s| s.hours().2))
    };
    let mut line = line.input("needed", need.words(), from);
    if power.mains.street.is_none() {
        line =
            line.note("How long the provider's street equipment runs is not known: no battery on site can outlast it.");
    }
    match stands(power) {
        None => line.missing("the chain is not known"),
        Some(Stands::LongEnough) => line.result(Stand::Enough, "long enough"),
        Some(Stands::BatteryMends) => line.result(Stand::Short, "too short: a battery mends it"),
        Some(Stands::NoBatteryMends) => line.result(
            Stand::Short,
            "too short, and the street's equipment ends first: no battery on site mends it, a second path may",
        ),
    }
}
