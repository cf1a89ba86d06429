//! The power sheet: every worksheet of a site as lines, each with its formula, inputs, result and source.
//!
//! Decides what stands on the sheet and in which order, and how each line stands: enough, short, open or a mere figure.
//! Renders nothing. What nobody entered is said to be missing; nothing is made up in its place but named defaults.

mod gear;
mod mains;
mod panel;
mod wiring;

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

/// One part of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// What it is about.
    pub title: &'static str,
    /// What must be done before anybody touches anything here.
    pub cautions: Vec<&'static str>,
    /// Its lines.
    pub lines: Vec<Line>,
}

/// How a line stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stand {
    /// Enough.
    Enough,
    /// Short: to be mended.
    Short,
    /// Something is missing to say so.
    Open,
    /// A figure that neither is nor isn't enough.
    #[default]
    Figure,
}

/// One line.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Line {
    /// What is asked.
    pub what: String,
    /// How it is worked out.
    pub formula: &'static str,
    /// From what.
    pub inputs: Vec<Input>,
    /// What comes out, in words and units.
    pub result: String,
    /// How it stands.
    pub stand: Stand,
    /// What to do about it, or to know with it.
    pub notes: Vec<String>,
    /// Where the formula or the limit comes from.
    pub source: &'static str,
    /// How well that was checked: V read, S second-hand, M from memory, D derived, choice; or "common practice".
    pub tag: &'static str,
}

/// One input of a line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Input {
    /// What it is.
    pub what: String,
    /// Its value with its unit.
    pub value: String,
    /// Where it comes from.
    pub source: &'static str,
    /// How well that was checked, or "site file".
    pub tag: &'static str,
}

/// The site file as a source.
const FILE: (&str, &str) = ("the site file", "site file");
/// A drill as a source.
const DRILL: (&str, &str) = ("measured by a drill at the site", "drill");
/// What is done everywhere and written nowhere.
const PRACTICE: (&str, &str) = ("common practice, no source", "common practice");
/// This program's own choice.
const CHOICE: (&str, &str) = ("a choice of this program", "choice");

/// Cautions that stand on every sheet.
pub const CAUTIONS: [&str; 6] = [
    "Before any wiring: take the account off dispatch with the station, switch the panel's mains off AND take its battery off, and see that it is dead.",
    "A battery can't be switched off: a short circuit burns. No rings or watches, insulated tools, covers on the terminals, never a sealed box. Lithium units by their maker's instructions only.",
    "Line voltage (a new outlet, a moved circuit, anything behind a cover plate) is for a licensed electrician.",
    "Fire, carbon monoxide, medical and hold-up systems are out of scope: nothing here may be used for them.",
    "Local code, the authority having jurisdiction, the equipment's listing and its manual decide, whatever is worked out here. Alarm work needs a licence in many places.",
    "Worked out, not measured: a drill that takes mains away for as long as is needed is the only proof.",
];

impl Line {
    fn new(what: impl Into<String>) -> Self {
        Self { what: what.into(), ..Self::default() }
    }

    fn formula(mut self, formula: &'static str, (source, tag): (&'static str, &'static str)) -> Self {
        (self.formula, self.source, self.tag) = (formula, source, tag);
        self
    }

    fn input(
        mut self,
        what: impl Into<String>,
        value: impl std::fmt::Display,
        (source, tag): (&'static str, &'static str),
    ) -> Self {
        self.inputs.push(Input { what: what.into(), value: value.to_string(), source, tag });
        self
    }

    /// An input the site file gives, or the default named.
    fn given<T: std::fmt::Display>(
        self,
        what: &'static str,
        entered: Option<T>,
        otherwise: impl FnOnce() -> (T, (&'static str, &'static str)),
    ) -> Self {
        let (value, source) = entered.map_or_else(otherwise, |value| (value, FILE));
        self.input(what, value, source)
    }

    fn result(mut self, stand: Stand, result: impl Into<String>) -> Self {
        (self.stand, self.result) = (stand, result.into());
        self
    }

    fn missing(self, what: &str) -> Self {
        self.result(Stand::Open, format!("not worked out: {what}"))
    }

    fn note(mut self, note: impl Into<String>) -> Self {
        self.notes.push(note.into());
        self
    }
}

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
