//! What a page is drawn from: the snapshot, now, and which part of the record is shown.
//!
//! Holds no layout.

use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;

/// What a page is drawn from.
pub struct Look<'a> {
    /// What there is to show.
    pub snapshot: &'a Snapshot,
    /// Zone of every time shown.
    pub zone: &'a TimeZone,
    /// Now, in seconds on the record's axis.
    pub now_s: f64,
    /// What this box sends and to whom, a line each.
    pub sends: &'a [String],
    /// Name of the record's file, for the words on deleting it.
    pub record: &'a str,
}

/// A part of the record, in seconds on its axis; what is below zero counts back from the end of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// From.
    pub from_s: f64,
    /// To.
    pub to_s: f64,
}
