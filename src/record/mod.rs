//! The record: observations kept in one `SQLite` file as they come, so that a killed survey still reports.
//!
//! `schema` (tables, migrations, codes), `writer` (one thread, commits every second), `reader` (entries in the order
//! they became known). Holds nothing derived: a record judged again gives the same verdict.

mod codes;
mod reader;
mod schema;
mod writer;

pub use reader::{FARTHEST, Record, read};
pub use writer::Writer;

use std::io;
use std::path::PathBuf;

/// What can go wrong with a record, named by what the caller may do.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// There is no such file, or it can't be opened.
    #[error("{path}: {why}", path = .path.display())]
    NoFile {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// The file is there and may not be read, or its folder may not be written.
    #[error("{path}: not permitted", path = .0.display())]
    NotPermitted(PathBuf),
    /// The file can't be made.
    #[error("{path} can't be made: {why}", path = .path.display())]
    NotMade {
        /// The file.
        path: PathBuf,
        /// Why.
        why: io::Error,
    },
    /// The file exists and is not ours to write over.
    #[error("{path} exists already; name another record or move it away", path = .0.display())]
    Exists(PathBuf),
    /// Some other program's file, or no `SQLite` at all. Nothing was touched.
    #[error("{path} is no pathproof record: {why}; nothing was touched", path = .path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// Written by a newer version. Nothing was touched.
    #[error("{path} was written by a newer version (record version {found}, this program knows {known}); nothing was touched", path = .path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: u32,
        /// Ours.
        known: u32,
    },
    /// The store failed.
    #[error("record: {0}")]
    Store(#[from] rusqlite::Error),
    /// What the record says of itself does not parse.
    #[error("record: {0}")]
    Header(String),
}

#[cfg(test)]
mod tests;
