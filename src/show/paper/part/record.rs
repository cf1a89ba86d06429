//! What was found on the way, the cautions, and which record this is.

use super::{Blocks, sentence};
use crate::show::say::survey::{self as say, label};
use crate::show::words::{self, Clock, full_time, safe};
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;

/// Facts of the site found on the way.
pub fn facts(b: &mut Blocks, s: &Snapshot) {
    if !s.facts.is_empty() {
        b.part("facts", "Found on the way");
        b.pairs(s.facts.iter().map(|f| (words::capital(&safe(&f.label)), safe(&f.value))));
    }
}

/// What always stands in a document.
pub fn cautions(b: &mut Blocks, s: &Snapshot) {
    b.part("cautions", "Cautions").list(s.cautions.iter().map(|c| safe(c)));
}

/// Site, times, and what made it.
pub fn identity(s: &Snapshot, zone: &TimeZone) -> Vec<(&'static str, String)> {
    vec![
        (label::SITE, safe(&s.site)),
        (label::FROM, full_time(s.wall(0.0), zone)),
        (label::TO, full_time(s.wall(s.watch.elapsed_s), zone)),
        (label::ENDED, s.watch.ended.as_deref().map_or(say::RUNNING.to_owned(), sentence)),
        (label::CLOCK, Clock::new(s, zone).explained()),
        (label::BY, format!("pathproof {}, format {}", safe(&s.version), s.format)),
    ]
}
