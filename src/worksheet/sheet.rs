//! The power sheet: every worksheet of a site as lines, each with its formula, inputs, result and source.
//!
//! Decides what stands on the sheet and in which order, and how each line stands: enough, short, open or a mere figure.
//! Renders nothing. What nobody entered is said to be missing; nothing is made up in its place but named defaults.

mod gear;
mod line;
mod mains;
mod panel;
mod wiring;

pub use line::{Input, Line, Part, Stand};

use super::given::Power;
use serde::Serialize;

/// The whole sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PowerSheet {
    /// The site's own mark. May hold text of the site file: escape where shown.
    pub site: String,
    /// What falls short, worst first; empty: nothing that was worked out.
    pub short: Vec<String>,
    /// Its parts.
    pub parts: Vec<Part>,
    /// What may hurt, and what this sheet is not for.
    pub cautions: Vec<&'static str>,
}

/// Cautions that stand on every sheet.
pub const CAUTIONS: [&str; 6] = [
    "Before any wiring: take the account off dispatch with the station, switch the panel's mains off AND take its battery off, and see that it is dead.",
    "A battery can't be switched off: a short circuit burns. No rings or watches, insulated tools, covers on the terminals, never a sealed box. Lithium units by their maker's instructions only.",
    "Line voltage (a new outlet, a moved circuit, anything behind a cover plate) is for a licensed electrician.",
    "Fire, carbon monoxide, medical and hold-up systems are out of scope: nothing here may be used for them.",
    "Local code, the authority having jurisdiction, the equipment's listing and its manual decide, whatever is worked out here. Alarm work needs a licence in many places.",
    "Worked out, not measured: a drill that takes mains away for as long as is needed is the only proof.",
];

/// Works the whole sheet out.
pub fn sheet(power: &Power) -> PowerSheet {
    let parts = vec![panel::part(power), wiring::part(power), gear::part(power), mains::part(power)];
    let short = parts
        .iter()
        .flat_map(|p| p.lines.iter().filter(|l| l.stand == Stand::Short))
        .map(|l| format!("{}: {}", l.what, l.result))
        .collect();
    PowerSheet { site: power.site.clone(), short, parts, cautions: CAUTIONS.to_vec() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_site_nobody_described_gets_a_sheet_that_says_what_is_missing() {
        let s = sheet(&Power::default());
        let lines: Vec<&Line> = s.parts.iter().flat_map(|p| &p.lines).collect();
        assert!(lines.iter().all(|l| l.stand == Stand::Open), "{lines:#?}");
        assert!(s.short.is_empty());
        for word in ["licensed electrician", "battery off", "short circuit", "Fire", "Local code", "drill"] {
            assert!(s.cautions.iter().any(|c| c.contains(word)), "{word}");
        }
    }
}
