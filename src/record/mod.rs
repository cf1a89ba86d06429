//! The record: observations kept in one `SQLite` file as they come, so that a killed agent still reports.
//!
//! From the ground up: `schema` (tables, migrations), `codec` with `encode` and `decode` (a chunk of entries as bytes), `roll`
//! and `rolling` (old quiet stretches kept smaller), `entries` (what a file holds, in the order it became known),
//! `checkpoint` (a judge written down, so that a year need not be fed again), `file` (made and locked), `mend` (a damaged one
//! saved), `store` (held for writing), `reader` (opened for reading), `keeper` (the thread that writes, commits every few
//! seconds) and `writer` (what others hold of it). Holds nothing derived but checkpoints, and they may always be missing: a
//! record judged again gives the same verdict.

mod bytes;
mod checkpoint;
mod codec;
mod codes;
mod copy;
mod decode;
mod encode;
mod entries;
mod file;
mod forget;
mod keeper;
mod last;
mod line;
mod mend;
mod packed;
mod page;
mod reader;
mod roll;
mod rolling;
mod rows;
mod runs;
mod schema;
mod skeleton;
mod status;
mod store;
mod wall;
mod writer;

pub use checkpoint::{Fed, Seal};
pub use copy::copy;
pub use forget::{Forgotten, forget, forget_all};
pub use last::{Last, Stop};
pub use line::{Kind, Line};
pub use page::{Page, Place};
pub use reader::{Record, read};
pub use status::{Keeping, Status};
pub use store::{Held, hold};
pub use wall::Walls;
pub use writer::Writer;

use crate::judge::{Entry, Micros, Step};
use std::io;
use std::path::{Path, PathBuf};

/// Times farther than this from the record's beginning, or from the epoch, make no sense: 200 years (choice).
pub const FARTHEST: Micros = Micros::from_secs(200 * 31_557_600);

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
    /// Somebody else is writing to it. Nothing was touched.
    #[error("{path} is being written to by another agent; nothing was touched", path = .0.display())]
    Busy(PathBuf),
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
    /// Damaged, and too many damaged ones are kept beside it already.
    #[error("{path} is damaged ({why}), and so were the ones kept beside it: look at the disk first", path = .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The store failed.
    #[error("record: {0}")]
    Store(#[from] rusqlite::Error),
    /// What the record says of itself does not parse.
    #[error("record: {0}")]
    Header(String),
}

impl RecordError {
    /// Whether it may pass by itself: a full disk, one that may only be read for now, or one that fails.
    pub fn may_pass(&self) -> bool {
        use rusqlite::ErrorCode as Code;
        match self {
            Self::NotMade { why, .. } => matches!(
                why.kind(),
                io::ErrorKind::StorageFull | io::ErrorKind::ReadOnlyFilesystem | io::ErrorKind::QuotaExceeded
            ),
            Self::Store(e) => matches!(
                e.sqlite_error_code(),
                Some(Code::DiskFull | Code::ReadOnly | Code::SystemIoFailure | Code::CannotOpen | Code::DatabaseBusy)
            ),
            _ => false,
        }
    }
}

/// The file whose name is this one's with `end` after it.
fn beside(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    name.into()
}

/// Whether the times of an entry make sense. Records may come from anybody.
fn sound(entry: &Entry) -> bool {
    let near = |t: i64| t.unsigned_abs() <= FARTHEST.0.unsigned_abs();
    let lasts = |t: i64| t >= 0 && near(t);
    near(entry.known().0)
        && match entry {
            Entry::Seen(o) => lasts((o.known - o.asked).0) && o.rtt.is_none_or(|r| lasts(r.took.0)),
            Entry::Began(s) => near(s.wall.0) && near(s.boot.0),
            Entry::Stepped { wall, .. } => near(wall.0),
            Entry::Drill { step: Step::Began { needed, .. }, .. } => needed.is_none_or(|n| lasts(n.0)),
            Entry::Drill { .. } | Entry::Alive { .. } | Entry::Ended { .. } => true,
        }
}

#[cfg(test)]
mod checkpoint_tests;
#[cfg(test)]
mod held_tests;
#[cfg(test)]
mod tests;
