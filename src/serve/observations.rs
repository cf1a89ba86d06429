//! The record page by page, read by a reader that touches nothing. Each page opens the file anew: what it costs is
//! bounded, and a record that was deleted or moved is not held on to.

use super::api::{LinePage, LineQuery};
use crate::judge::{Entry, Moment, WallTime};
use crate::record::{self, Line, Place, RecordError, Walls};
use jiff::Timestamp;
use std::path::Path;

/// A page of the record.
pub(super) fn read(path: &Path, query: &LineQuery) -> Result<LinePage, RecordError> {
    let record = record::read(path)?;
    let mut walls = Walls::default();
    record.marks(|e| walls.take(e))?;
    let moment =
        |at: Option<Timestamp>, open: i64| at.map_or(Moment(open), |t| walls.moment(WallTime(t.as_microsecond())));
    let (from, to) = (moment(query.from, i64::MIN), moment(query.to, i64::MAX));
    let place = query.cursor.map(|(chunk, entry)| Place { chunk, entry }).unwrap_or_default();
    let wanted = |e: &Entry| e.known() < to && query.lane.is_none_or(|l| matches!(e, Entry::Seen(o) if o.lane() == l));
    let page = record.page(place, &(from..=to), query.most(), wanted)?;
    Ok(LinePage {
        items: page.entries.iter().map(|e| Line::of(e, &walls)).collect(),
        next: page.next.map(|p| format!("{}-{}", p.chunk, p.entry)),
    })
}
