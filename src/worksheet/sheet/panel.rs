//! The sheet's part on the alarm panel: auxiliary output, standby battery, firmware.

use super::line::{CHOICE, FILE, Line, PRACTICE, Part, Stand};
use crate::worksheet::aux::{self, Carries};
use crate::worksheet::battery::{self, Standby};
use crate::worksheet::chain;
use crate::worksheet::given::Power;
use crate::worksheet::outlook::{panel_battery, panel_currents, panel_holds};
use crate::worksheet::units::{Celsius, Milliamps, Years};

pub(super) fn part(power: &Power) -> Part {
    let mut lines = vec![output(power)];
    lines.extend(standby(power));
    lines.push(age(power));
    lines.push(firmware(power));
    Part {
        title: "Alarm panel",
        cautions: vec![
            "De-energise before you open it: mains off and battery off, both. The cover's tamper contact raises an alarm: put the account on test first.",
            "Mind the polarity; the battery's terminals short-circuit easily.",
        ],
        lines,
    }
}

fn hanging(mut line: Line, power: &Power) -> Line {
    if let (true, Some(ma)) = (power.devices.is_empty(), power.panel.aux_load_ma) {
        line = line.input("already on the output", Milliamps::of(f64::from(ma)), FILE);
    }
    for d in &power.devices {
        line = line.input(d.name.clone(), format!("{} on standby, {} in alarm", d.standby, d.alarm), FILE);
    }
    line.given("communicator at its greatest draw", power.panel.communicator_most, || {
        (aux::COMMUNICATOR_MOST, PRACTICE)
    })
}

fn output(power: &Power) -> Line {
    let line = Line::new("Auxiliary output with the communicator").formula(
        "sum of every device + communicator at its greatest draw <= limit, 20 % of it kept free",
        ("sum and limit: the panel's manual; margin: common practice, no source", "common practice"),
    );
    let line = hanging(line, power);
    let Some(load) = aux::load(&power.panel, &power.devices) else {
        return line.missing("what hangs on the output is not in the site file");
    };
    let sum = format!("{} on standby, {} in alarm", load.standby, load.alarm);
    let Some(limit) = power.panel.aux_limit_ma.map(|ma| Milliamps::of(f64::from(ma))) else {
        return line.missing(&format!("{sum}, but the output's limit is not in the site file"));
    };
    let line = line.input("limit of the output", limit, FILE);
    let of = format!("{sum}, of {limit}");
    match aux::carries(limit, load) {
        Carries::Well => line.result(Stand::Enough, format!("{of}: carried, with the margin free")),
        Carries::IntoMargin => line
            .result(Stand::Enough, format!("{of}: carried, but into the margin"))
            .note("Put nothing more on this output."),
        Carries::Over => line
            .result(Stand::Short, format!("{of}: {} too much", load.greatest() - limit))
            .note("Feed the communicator from a listed external supply with its own battery."),
    }
}

fn standby(power: &Power) -> Vec<Line> {
    let rules = power.panel.standby.map_or_else(|| Standby::ALL.to_vec(), |s| vec![s]);
    if panel_currents(power).is_none() {
        return vec![
            Line::new("Standby battery")
                .formula("Ah = (standby current x hours + alarm current x alarm time) x ageing x temperature", IEEE)
                .missing(
                    "the panel's own current (board_standby, board_alarm) or what hangs on it is not in the site file",
                ),
        ];
    }
    rules.into_iter().map(|rule| battery_for(power, rule)).collect()
}

/// Where factor and formula come from.
// [IEEE485]
const IEEE: (&str, &str) = ("IEEE 485 for ageing and temperature; the sum is arithmetic", "M");

fn battery_for(power: &Power, rule: Standby) -> Line {
    let p = &power.panel;
    let (standby, alarm) = panel_currents(power).expect("asked before");
    let (hours, source, tag) = rule.hours();
    let line = Line::new(format!("Standby battery, {}", rule.words()))
        .formula("Ah = (standby current x hours + alarm current x alarm time) x ageing x temperature", IEEE)
        .input("standby current, board, devices and communicator", standby, FILE)
        .input("standby time", hours, (source, tag))
        .input("alarm current", alarm, FILE)
        .input("alarm time", battery::ALARM.words(), CHOICE)
        .input("ageing", battery::AGEING, ("IEEE 485", "M"))
        .given("temperature", p.battery_at, || (Celsius::of(25.0), CHOICE));
    let Some(needed) = panel_battery(power, rule) else {
        return line.missing("the temperature factor is known from 0 to 45 C only");
    };
    let size = battery::next_size(needed)
        .map_or_else(|| "more than the largest stocked".to_owned(), |s| format!("next stocked size {s}"));
    let words = format!("{:.2} Ah needed, {size}", needed.get());
    match (p.battery, p.standby) {
        (Some(have), Some(_)) if have >= needed => line.result(Stand::Enough, format!("{words}; {have} is there")),
        (Some(have), Some(_)) => line.result(Stand::Short, format!("{words}; only {have} is there")),
        (Some(have), None) => line
            .result(Stand::Figure, format!("{words}; {have} is there"))
            .note("No rule is named in the site file, so none decides."),
        (None, _) => line.result(Stand::Open, format!("{words}; what is there is not in the site file")),
    }
}

fn age(power: &Power) -> Line {
    let p = &power.panel;
    let mut line = Line::new("Panel battery's age and time").formula(
        "share left = 1 - 5 % a year; replace under 80 % of its rating; each 8 C over 25 C halve its life",
        // [TM5684]
        ("5 % a year: a choice; 80 %: TM 5-684 para. 14-29; 8 C: a rule of thumb, no source", "choice"),
    );
    let Some(age) = p.battery_age else {
        return line.missing("its age is not in the site file; write the date on it and test it under load");
    };
    line = line.input("age", age.words(), FILE);
    let left = chain::health(age);
    if let Some(at) = p.battery_at
        && at.get() > 25.0
    {
        let lasts = battery::life(Years::of(5.0), Celsius::of(25.0), battery::HALVES_PER, at);
        line = line
            .input("temperature", at, FILE)
            .note(format!("At {at} a five-year battery lives about {:.1} years.", lasts.get()));
    }
    if let Some((hours, how)) = panel_holds(power) {
        line = line.note(format!("The panel runs about {} without mains ({how}).", hours.words()));
    }
    let words = format!("about {:.0} % of its rating left", left * 100.0);
    if left < battery::REPLACE_BELOW || age.get() >= 5.0 {
        line.result(Stand::Short, format!("{words}: replace it"))
    } else {
        line.result(Stand::Enough, words)
            .note("An old battery can pass the voltage check and last minutes: test it under load every year.")
    }
}

fn firmware(power: &Power) -> Line {
    let line = Line::new("Panel firmware")
        .formula("compared number by number between the dots: 2.31 is newer than 2.8", PRACTICE);
    match (&power.panel.firmware, &power.panel.firmware_least) {
        (Some(has), Some(least)) => {
            let line = line.input("panel", has, FILE).input("least for the communicator", least, FILE);
            if has >= least {
                line.result(Stand::Enough, format!("{has} is new enough for {least}"))
            } else {
                line.result(
                    Stand::Short,
                    format!(
                        "{has} is older than {least}: update the panel first, or the communicator will not be seen"
                    ),
                )
            }
        }
        (None, _) => line.missing("the panel's firmware is not in the site file"),
        (_, None) => line.missing("the least firmware is not in the site file; the communicator's manual says"),
    }
}
