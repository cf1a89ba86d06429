//! A line of the power sheet: formula, inputs, result, source, and how it stands. Works nothing out.

use serde::Serialize;

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
pub(super) const FILE: (&str, &str) = ("the site file", "site file");
/// A drill as a source.
pub(super) const DRILL: (&str, &str) = ("measured by a drill at the site", "drill");
/// What is done everywhere and written nowhere.
pub(super) const PRACTICE: (&str, &str) = ("common practice, no source", "common practice");
/// This program's own choice.
pub(super) const CHOICE: (&str, &str) = ("a choice of this program", "choice");

impl Line {
    pub(super) fn new(what: impl Into<String>) -> Self {
        Self { what: what.into(), ..Self::default() }
    }

    pub(super) fn formula(mut self, formula: &'static str, (source, tag): (&'static str, &'static str)) -> Self {
        (self.formula, self.source, self.tag) = (formula, source, tag);
        self
    }

    pub(super) fn input(
        mut self,
        what: impl Into<String>,
        value: impl std::fmt::Display,
        (source, tag): (&'static str, &'static str),
    ) -> Self {
        self.inputs.push(Input { what: what.into(), value: value.to_string(), source, tag });
        self
    }

    /// An input the site file gives, or the default named.
    pub(super) fn given<T: std::fmt::Display>(
        self,
        what: &'static str,
        entered: Option<T>,
        otherwise: impl FnOnce() -> (T, (&'static str, &'static str)),
    ) -> Self {
        let (value, source) = entered.map_or_else(otherwise, |value| (value, FILE));
        self.input(what, value, source)
    }

    pub(super) fn result(mut self, stand: Stand, result: impl Into<String>) -> Self {
        (self.stand, self.result) = (stand, result.into());
        self
    }

    pub(super) fn missing(self, what: &str) -> Self {
        self.result(Stand::Open, format!("not worked out: {what}"))
    }

    pub(super) fn note(mut self, note: impl Into<String>) -> Self {
        self.notes.push(note.into());
        self
    }
}
