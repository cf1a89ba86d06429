//! What the record says of itself, beside what the judge was told.

use crate::judge::{Lane, Micros};

/// What the record says of itself.
#[derive(Clone, Debug, Default)]
pub struct Header {
    /// Opaque site id.
    pub site: String,
    /// True on the practice site.
    pub practice: bool,
    /// Length asked for, where one was.
    pub planned: Option<Micros>,
    /// Lanes that cannot be seen here by design, with the reason (the practice site on loopback).
    pub blind_by_design: Vec<(Lane, String)>,
    /// Troubles that no receiver is named, and so on: notes made before the first packet.
    pub notes: Vec<String>,
}
