//! A trouble: a span with its cause and what it brought with it.

use super::kind::Cause;
use super::sign::Sign;
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::lanes::span::Span;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A sign that moves the odds by less than this says nothing worth showing (choice: a factor of 1.2).
const TELLING: f64 = 0.2;

/// What a sign says of the cause named.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Clue {
    /// The sign.
    pub sign: Sign,
    /// Whether it was there.
    pub holds: bool,
    /// By how much it moves the odds of the cause named against the rest, as a logarithm; positive speaks for it.
    pub weight: f64,
}

impl Clue {
    /// Whether it speaks for the cause named; `None` when it does neither.
    pub fn speaks_for(&self) -> Option<bool> {
        (self.weight.abs() >= TELLING).then_some(self.weight > 0.0)
    }
}

/// A span with its cause and everything it brought with it.
#[derive(Clone, Debug)]
pub struct Trouble {
    /// Where it began.
    pub root: Span,
    /// Spans of outer lanes that it explains.
    pub followers: Vec<Span>,
    /// Why.
    pub cause: Cause,
    /// How sure, 0 to 1.
    pub confidence: f64,
    /// What was observed, and what it says of the cause.
    pub clues: Vec<Clue>,
    /// Other causes not excluded, likeliest first, with their odds; what is left to 1 is "something else".
    pub alternatives: Vec<(Cause, f64)>,
    /// When the path could not deliver, if it could not.
    pub path_down: Option<(Edge, Option<Edge>)>,
}

impl Trouble {
    pub(super) fn new(root: Span) -> Self {
        Self {
            root,
            followers: Vec::new(),
            cause: Cause::TargetMissing,
            confidence: 0.0,
            clues: Vec::new(),
            alternatives: Vec::new(),
            path_down: None,
        }
    }

    /// How long the path could not deliver; `now` closes an open one.
    pub fn down_for(&self, now: Moment) -> Micros {
        self.path_down
            .map_or(Micros::ZERO, |(from, to)| Micros((to.map_or(now, Edge::midpoint) - from.midpoint()).0.max(0)))
    }

    /// Whether it began and ended, with everything it brought along, inside one of these stretches.
    pub(in crate::judge) fn within(&self, stretches: &[(Moment, Moment)], now: Moment) -> bool {
        let spans = || std::iter::once(&self.root).chain(&self.followers);
        let from = spans().map(|s| s.start.midpoint()).min().unwrap_or(now);
        let to = spans().map(|s| s.end_or(now)).max().unwrap_or(now);
        stretches.iter().any(|(a, b)| *a <= from && to <= *b)
    }
}
