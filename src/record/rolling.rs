//! Old chunks of a file replaced by one that is rolled up; `roll` says what that loses.

use super::{RecordError, bytes, entries, roll, schema};
use crate::judge::{Entry, Moment};
use rusqlite::{Connection, TransactionBehavior, params};

/// Entries rolled up together: enough that the names said anew weigh little, few enough for a small memory.
const ROLL_ENTRIES: u64 = 20_000;

/// Rolls up the oldest exact chunks that end before `horizon`, as far as they stand together; with `full`, only if they
/// fill a group.
pub(super) fn roll_group(db: &mut Connection, horizon: Moment, full: bool) -> Result<bool, RecordError> {
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut group: Vec<i64> = Vec::new();
    let (mut many, mut filled) = (0u64, false);
    {
        let mut chunks = tx.prepare_cached("SELECT id, kind, entries, to_us FROM chunk WHERE id > ?1 ORDER BY id")?;
        let first: Option<i64> = tx.query_row("SELECT min(id) FROM chunk WHERE kind = 0", [], |r| r.get(0))?;
        let mut rows = chunks.query([first.unwrap_or(i64::MAX) - 1])?;
        while let Some(r) = rows.next()? {
            let (id, kind, entries, to): (i64, i64, u32, i64) = (r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
            if to >= horizon.0 || kind != schema::EXACT {
                break;
            }
            if many + u64::from(entries) > ROLL_ENTRIES && !group.is_empty() {
                filled = true;
                break;
            }
            group.push(id);
            many += u64::from(entries);
        }
    }
    let (Some(first), Some(last)) = (group.first(), group.last()) else { return Ok(false) };
    if full && !filled {
        return Ok(false);
    }
    let mut found: Vec<Entry> = Vec::with_capacity(many as usize);
    let mut damaged = 0;
    {
        let mut chunks =
            tx.prepare_cached("SELECT entries, bytes, sum FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id")?;
        let mut rows = chunks.query(params![first, last])?;
        while let Some(r) = rows.next()? {
            let (count, bytes, sum): (u32, Vec<u8>, u32) = (r.get(0)?, r.get(1)?, r.get(2)?);
            damaged += if bytes::check_sum(&bytes) == sum {
                entries::chunk(schema::EXACT, &bytes, count.into(), &mut |e: &Entry| found.push(e.clone()))
            } else {
                u64::from(count)
            };
        }
    }
    let mut rolled = roll::up(&found);
    rolled.entries = rolled.entries.saturating_add(u32::try_from(damaged).unwrap_or(u32::MAX));
    tx.execute("DELETE FROM chunk WHERE id > ?1 AND id <= ?2", params![first, last])?;
    schema::replace_chunk(&tx, *first, schema::ROLLED, &rolled)?;
    tx.commit()?;
    Ok(true)
}
