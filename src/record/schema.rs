//! Tables and migrations. One entry a row, in the order it became known; targets by number to keep rows small.

use rusqlite::Connection;

/// Marks the file as ours (`PRAGMA application_id`): "pthp".
pub(super) const APPLICATION_ID: i32 = 0x7074_6870;

/// One step a version; never edited once released.
const MIGRATIONS: &[&str] = &["
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE target (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE entry (
    id INTEGER PRIMARY KEY,
    kind INTEGER NOT NULL,      -- 0 seen, 1 began, 2 stepped, 3 alive, 4 ended
    known_us INTEGER NOT NULL,  -- microseconds on the record's axis
    took_us INTEGER,            -- known - asked
    question INTEGER,
    target INTEGER REFERENCES target(id),
    outcome INTEGER,
    rtt_us INTEGER,
    rtt_kernel INTEGER,
    detail TEXT                 -- JSON, only where there is more to say
) STRICT;
"];

/// The version this program writes.
pub(super) const VERSION: u32 = MIGRATIONS.len() as u32;

/// Brings a new or older record up to [`VERSION`]; a newer one is left alone and its version returned.
pub(super) fn migrate(db: &mut Connection) -> rusqlite::Result<Result<(), u32>> {
    let found: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
    if found > VERSION {
        return Ok(Err(found));
    }
    let tx = db.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    for (version, step) in (1u32..).zip(MIGRATIONS).skip(found as usize) {
        tx.execute_batch(step)?;
        tx.pragma_update(None, "user_version", version)?;
    }
    tx.pragma_update(None, "application_id", APPLICATION_ID)?;
    tx.commit()?;
    Ok(Ok(()))
}
