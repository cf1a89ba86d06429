//! A record read a page at a time: so many entries, and where to go on.
//!
//! What a page costs is bounded however long the record is and however few of its entries are wanted: so many chunks
//! are read, and the rest is left to the next page.

use super::{Record, RecordError, bytes, entries, schema};
use crate::judge::{Entry, Moment};
use rusqlite::params;
use std::ops::RangeInclusive;

/// Chunks read for one page at most (choice: some tens of milliseconds).
const MOST_CHUNKS: usize = 24;

/// A place in a record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The chunk; those that come later have greater numbers.
    pub chunk: i64,
    /// Entries of it before the place.
    pub entry: u64,
}

/// Some entries of a record, in its order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Page {
    /// The entries: as many as were asked for or fewer, even none, where there are more.
    pub entries: Vec<Entry>,
    /// Where to go on; `None` at the end of the record.
    pub next: Option<Place>,
}

impl Record {
    /// From a place on, at most so many entries that became known within the span and are wanted.
    pub fn page(
        &self,
        from: Place,
        span: &RangeInclusive<Moment>,
        most: usize,
        wanted: impl Fn(&Entry) -> bool,
    ) -> Result<Page, RecordError> {
        let db = self.connection();
        let version: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
        if version < 2 {
            return Err(RecordError::Header("a record of the first version is not read by the page".into()));
        }
        // One view of the file, or a chunk that ends between two questions would be missed or told twice.
        let view = db.unchecked_transaction()?;
        let mut page = Page::default();
        let mut read = |id: i64, kind: i64, entries: u64, bytes: &[u8]| {
            let mut n = 0;
            entries::chunk(kind, bytes, entries, &mut |e: &Entry| {
                let place = Place { chunk: id, entry: n };
                n += 1;
                if page.next.is_some() || place < from || !span.contains(&e.known()) || !wanted(e) {
                    return;
                }
                if page.entries.len() < most {
                    page.entries.push(e.clone());
                } else {
                    page.next = Some(place);
                }
            });
            page.next
        };
        let mut next = None;
        {
            let mut chunks = view.prepare(
                "SELECT id, kind, entries, sum, bytes FROM chunk
                 WHERE id >= ?1 AND to_us >= ?2 AND from_us <= ?3 ORDER BY id",
            )?;
            let mut rows = chunks.query(params![from.chunk, span.start().0, span.end().0])?;
            let mut left = MOST_CHUNKS;
            while let (None, Some(row)) = (next, rows.next()?) {
                let (id, kind, entries, sum) = (row.get(0)?, row.get(1)?, row.get::<_, u32>(2)?, row.get::<_, u32>(3)?);
                if left == 0 {
                    next = Some(Place { chunk: id, entry: 0 });
                    break;
                }
                left -= 1;
                let bytes = row.get_ref(4)?.as_blob().unwrap_or_default();
                if bytes::check_sum(bytes) == sum {
                    next = read(id, kind, entries.into(), bytes);
                }
            }
            if next.is_none() {
                // The chunk being written gets the next number when it ends.
                let id = view.query_row("SELECT ifnull(max(id), 0) + 1 FROM chunk", [], |r| r.get(0))?;
                let tail = schema::tail(&view)?;
                next = read(id, schema::EXACT, tail.entries.into(), &tail.bytes);
            }
        }
        view.rollback()?;
        Ok(Page { next, ..page })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Detail, Lane, Observation, Outcome, Question};
    use crate::record::{Writer, read};

    fn seen(n: i64) -> Entry {
        let question = if n % 5 == 0 { Question::Reference } else { Question::Connect };
        Entry::Seen(Observation {
            asked: Moment(n * 60_000_000),
            known: Moment(n * 60_000_000 + 20_000),
            question,
            target: "t".into(),
            outcome: Outcome::Answered,
            rtt: None,
            detail: Detail::None,
        })
    }

    #[test]
    fn the_pages_are_the_whole_and_no_entry_stands_in_two() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("r.db");
        let mut writer = Writer::create(&path, "{}").expect("makes");
        // 3,000 minutes: more chunks than one page reads, and one being written.
        for n in 0..3_000 {
            assert!(writer.keep(seen(n)));
        }
        writer.finish().expect("writes");
        let record = read(&path).expect("opens");
        let mut whole = Vec::new();
        record.replay(|e| whole.push(e.clone())).expect("reads");
        let every = Moment(0)..=Moment(i64::MAX);
        let all = |span: &RangeInclusive<Moment>, most, wanted: fn(&Entry) -> bool| {
            let (mut out, mut from, mut pages) = (Vec::new(), Place::default(), 0);
            loop {
                let page = record.page(from, span, most, wanted).expect("reads");
                assert!(page.entries.len() <= most);
                out.extend(page.entries);
                pages += 1;
                match page.next {
                    Some(next) => assert!(std::mem::replace(&mut from, next) < next, "it goes forward"),
                    None => return (out, pages),
                }
            }
        };
        assert_eq!(whole.len(), 3_000);
        for most in [1, 7, 1_000, 10_000] {
            assert!(all(&every, most, |_| true).0 == whole, "{most} a page");
        }
        let outside = |e: &Entry| matches!(e, Entry::Seen(o) if o.lane() == Lane::Outside);
        let wanted: Vec<Entry> = whole.iter().filter(|e| outside(e)).cloned().collect();
        assert_eq!(all(&every, 100, outside).0, wanted);
        let (from, to) = (Moment(600_000_000), Moment(1_200_000_000));
        let within: Vec<Entry> = whole.iter().filter(|e| (from..=to).contains(&e.known())).cloned().collect();
        assert_eq!((all(&(from..=to), 4, |_| true).0, within.len()), (within.clone(), 10));
        // What is seldom wanted is looked for a bounded while a page.
        let (none, pages) = all(&every, 10, |_| false);
        assert!(none.is_empty() && pages >= 2, "{pages} pages");
    }
}
