//! A copy of a record as it stands, for somebody else: whole even while an agent writes to the original.
//!
//! What the record says of itself may be changed on the way, and nothing of what it said before is left in the copy's file.

use super::{RecordError, checkpoint, reader, schema};
use rusqlite::Connection;
use std::path::Path;

/// Copies the record to a file that must not exist yet. `about` is handed what it says of itself and gives what the copy
/// shall say; its error is in words.
pub fn copy(from: &Path, to: &Path, about: impl FnOnce(&str) -> Result<String, String>) -> Result<(), RecordError> {
    let record = reader::read(from)?;
    let said = about(record.about()).map_err(RecordError::Header)?;
    record.copy_into(to)?;
    let db = Connection::open(to)?;
    // What is written over is zeroed, in the file and in its journal.
    db.pragma_update(None, "secure_delete", true)?;
    db.pragma_update(None, "journal_mode", "memory")?;
    db.execute("UPDATE about SET value = ?1 WHERE name = 'survey'", [said])?;
    // A record of version 1 has none.
    drop(checkpoint::drop_all(&db));
    debug_assert_eq!(db.pragma_query_value(None, "application_id", |r| r.get(0)), Ok(schema::APPLICATION_ID));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::{hold, read};
    use super::*;
    use crate::record::Writer;

    #[test]
    fn the_copy_says_what_it_is_told_to_and_keeps_nothing_of_what_was_said() {
        let dir = tempfile::tempdir().expect("a directory");
        let (from, to) = (dir.path().join("from.db"), dir.path().join("to.db"));
        let about = format!("{{\"hush\": \"{}\"}}", "secret".repeat(2_000));
        Writer::resume(hold(&from).expect("holds"), &about).expect("resumes").finish().expect("written");
        copy(&from, &to, |said| Ok(said.replace("secret", ""))).expect("copies");
        assert_eq!(read(&to).expect("ours").about(), "{\"hush\": \"\"}");
        let bytes = std::fs::read(&to).expect("reads");
        assert!(!bytes.windows(6).any(|w| w == b"secret"));
        assert!(copy(&from, &to, |said| Ok(said.to_owned())).is_err(), "an existing file is not written over");
    }
}
