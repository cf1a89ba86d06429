//! The sheet's part on the run between panel and communicator: voltage at its end, longest run, four conductors.

use super::line::{CHOICE, FILE, Line, PRACTICE, Part, Stand};
use crate::worksheet::aux;
use crate::worksheet::conductor::{self, Data};
use crate::worksheet::copper::{self, Gauge, Strand};
use crate::worksheet::given::Power;
use crate::worksheet::units::{Celsius, Volts};

/// Voltage of a 12 V supply when its battery is low.
const LOW_BATTERY: Volts = Volts::of(10.5);
/// How warm a cable is taken to get.
const WARM: Celsius = Celsius::of(30.0);

pub(super) fn part(power: &Power) -> Part {
    Part {
        title: "Wiring to the communicator",
        cautions: vec![
            "De-energise first: mains off and battery off at the panel, and see that the run is dead.",
            // [NFPA731]
            "Keep 2 in (50.8 mm) from light and power conductors unless a raceway parts them (NFPA 731); use listed splices.",
        ],
        lines: vec![drop(power), conductors(power)],
    }
}

fn drop(power: &Power) -> Line {
    let w = &power.wiring;
    let line = Line::new("Voltage at the communicator, battery low").formula(
        "end = source - 2 x length x ohm/km x current; the current goes out and comes back",
        // [ASTMB258], [IACS13], [NEC98]
        ("ASTM B258 and IACS copper, from memory; a copy of NFPA 70 chapter 9 table 8 agrees within 0.5 %", "M"),
    );
    let (Some(length), Some(gauge)) = (w.length, w.gauge) else {
        return line.missing("length and gauge of the run are not in the site file");
    };
    let strand = w.strand.unwrap_or_default();
    let (at, source) = (w.at.unwrap_or(WARM), w.source.unwrap_or(LOW_BATTERY));
    let current = w.current.unwrap_or_else(|| aux::communicator_most(&power.panel));
    let ohms = copper::resistance(gauge, strand, at);
    let lost = copper::drop(length, ohms, current);
    let end = source - lost;
    let made = match strand {
        Strand::Solid => "solid",
        Strand::Stranded => "stranded",
    };
    let from = if w.current.is_some() || power.panel.communicator_most.is_some() { FILE } else { PRACTICE };
    let mut line = line
        .input("length, one way", format!("{length} ({:.0} ft)", length.in_feet()), FILE)
        .input("conductor", format!("{gauge}, {made}"), FILE)
        .given("temperature", w.at, || (WARM, CHOICE))
        .input(
            "resistance",
            format!("{:.2} ohm/km ({:.2} ohm/kft)", ohms.get(), ohms.in_per_kft()),
            ("worked out", "D"),
        )
        .input("current", current, from)
        .given("source with its battery low", w.source, || (LOW_BATTERY, PRACTICE));
    if !matches!(gauge, Gauge::Awg(18 | 22)) {
        line = line.note("Such runs commonly have four conductors of 22 or 18 AWG (common practice, no source).");
    }
    let percent = 100.0 * lost.get() / source.get();
    let words = format!("{:.2} V lost ({percent:.1} %), {:.2} V left", lost.get(), end.get());
    let Some(least) = w.least else {
        return line.result(Stand::Open, format!("{words}; the least the device works with is not in the site file"));
    };
    let longest = copper::longest(source, least, ohms, current);
    let line = line.input("least for the device", least, FILE).note(format!(
        "The longest run with this conductor: {:.0} m ({:.0} ft).",
        longest.get(),
        longest.in_feet()
    ));
    if end >= least {
        line.result(Stand::Enough, format!("{words}, {least} needed"))
    } else {
        line.result(
            Stand::Short,
            format!("{words}, {least} needed: thicker conductors, a shorter run, or a supply nearer to it"),
        )
    }
}

fn conductors(power: &Power) -> Line {
    let w = &power.wiring;
    let mut line = Line::new("Four-conductor check")
        .formula("supply to supply of the same sign; data as the site file says; each terminal once", PRACTICE);
    if w.conductors.is_empty() {
        return line.missing("no conductor is in the site file");
    }
    for c in &w.conductors {
        line = line.input(c.colour.clone(), format!("panel {} - device {}", c.panel.words(), c.device.words()), FILE);
    }
    let Some(data) = w.data else {
        return line
            .missing("how the data lines run (crossed or straight) is not in the site file; the panel's manual says");
    };
    let word = match data {
        Data::Crossed => "crossed",
        Data::Straight => "straight",
    };
    line = line.input("data lines", word, FILE);
    let faults = conductor::faults(&w.conductors, data);
    if faults.is_empty() {
        line.result(Stand::Enough, "all four agree at both ends")
    } else {
        let n = faults.len();
        let mut line =
            line.result(Stand::Short, format!("{n} fault{}: do not switch on", if n == 1 { "" } else { "s" }));
        line.notes.extend(faults);
        line
    }
}
