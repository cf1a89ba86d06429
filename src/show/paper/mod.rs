//! Papers: documents people act on, built once from a snapshot as blocks and rendered alike as HTML, text and JSON.
//!
//! Decides what a paper is. What it is made of is in [`Blocks`], the sections that several papers share are in [`part`].
//! Renderers add layout only, so that the forms of one paper can't disagree.

mod block;
pub(super) mod html;
mod json;
pub mod letter;
mod mask;
pub(crate) mod part;
#[cfg(feature = "pdf")]
mod pdf;
pub mod survey_record;
pub(super) mod text;
pub mod ticket;

pub use block::{Block, Blocks};
pub use html::to_html;
pub use json::to_json;
#[cfg(feature = "pdf")]
pub use pdf::to_pdf;
pub use text::to_text;

use super::escape;
use crate::judge::WallTime;
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;
use serde::Serialize;

/// Version of the papers' JSON, its `format` field.
pub const FORMAT: u32 = 1;

/// What a paper is built from. Everything in it is told, nothing is looked up.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    /// The evidence.
    pub snapshot: &'a Snapshot,
    /// The zone in which times are told.
    pub zone: &'a TimeZone,
    /// Where the evidence comes from.
    pub origin: &'a Origin,
}

/// Where the evidence of a paper comes from, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The record's file, as its user names it.
    pub record: Option<String>,
    /// SHA-256 of that file's bytes (FIPS 180-4), hexadecimal.
    pub sha256: Option<String>,
    /// SHA-256 of the plan the record was made by, hexadecimal.
    pub plan_sha256: Option<String>,
    /// Start of the kernel's boot id at the last session: enough to tell two boots apart.
    pub boot: Option<String>,
    /// When the paper is made.
    pub made: Option<WallTime>,
    /// Whether what is personal (addresses) is shown as it is.
    pub unmasked: bool,
}

/// Which paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// The survey report: the verdict first, then what it rests on.
    Report,
    /// One page for the homeowner.
    Letter,
    /// For the dealer: each outage and each lasting condition.
    Ticket,
    /// For the customer file.
    SurveyRecord,
    /// Power worked out from the site file.
    PowerSheet,
}

/// A document.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Paper {
    /// [`FORMAT`].
    pub format: u32,
    /// Which.
    pub paper: Kind,
    /// A line over the title: what this is.
    pub kicker: String,
    /// Its title.
    pub title: String,
    /// What stands in it, in order.
    pub blocks: Blocks,
    /// The same as fields for programs, where the paper has any.
    #[serde(skip_serializing_if = "serde_json::Value::is_null")]
    pub data: serde_json::Value,
}

impl Paper {
    /// An empty paper.
    pub fn new(paper: Kind, kicker: &str, title: &str) -> Self {
        Self {
            format: FORMAT,
            paper,
            kicker: escape::terminal(kicker),
            title: escape::terminal(title),
            blocks: Blocks::default(),
            data: serde_json::Value::Null,
        }
    }

    /// Every text of the paper, in reading order: what each of its forms must show.
    pub fn texts(&self) -> Vec<&str> {
        [vec![self.kicker.as_str(), &self.title], self.blocks.texts()].concat()
    }
}
