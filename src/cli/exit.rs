//! Exit codes, and the errors that carry them. Codes are part of the interface and are never renumbered.
//!
//! Verdicts are below 20 so that a script can tell them from errors; errors use the numbers of `sysexits.h`.

use crate::record::RecordError;
use crate::snapshot::VerdictKind;
use std::io;
use std::path::Path;

/// The verdict is "IP alone is enough". Also: `check` found nothing wrong.
pub const IP_ALONE: i32 = 0;
/// The verdict is "Mend this first". Also: a drill in which the path gave out too soon, or a receiver was not reached.
pub const MEND_FIRST: i32 = 10;
/// The verdict is "Add a cellular backup".
pub const ADD_CELLULAR: i32 = 11;
/// The verdict is "Keep watching".
pub const KEEP_WATCHING: i32 = 12;
/// The practice site's script and what the survey saw do not agree.
pub const PRACTICE_FAILED: i32 = 20;
/// A drill was cut short.
pub const DRILL_CUT_SHORT: i32 = 21;
/// The command line makes no sense (`EX_USAGE`).
pub const USAGE: i32 = 64;
/// A record is damaged or not ours (`EX_DATAERR`).
pub const BAD_RECORD: i32 = 65;
/// No such input file (`EX_NOINPUT`).
pub const NO_INPUT: i32 = 66;
/// A fault of ours (`EX_SOFTWARE`).
pub const INTERNAL: i32 = 70;
/// Reading or writing failed (`EX_IOERR`).
pub const IO: i32 = 74;
/// Another agent is writing to the record (`EX_TEMPFAIL`).
pub const BUSY: i32 = 75;
/// Not permitted (`EX_NOPERM`).
pub const PERMISSION: i32 = 77;
/// The site file is wrong (`EX_CONFIG`).
pub const BAD_SITE_FILE: i32 = 78;

/// Why a command did not do what it was asked, by what the caller may do about it. Its words may hold untrusted text.
#[derive(Debug, thiserror::Error)]
pub enum CommandError {
    /// The command line makes no sense, or not for this record.
    #[error("{0}")]
    Usage(String),
    /// A record or a bundle makes no sense.
    #[error("{0}")]
    BadRecord(String),
    /// A file is not there.
    #[error("{0}")]
    NoInput(String),
    /// A fault of ours, or of this machine.
    #[error("{0}")]
    Internal(String),
    /// A file or an address could not be used.
    #[error("{0}")]
    Io(String),
    /// The result could not be printed.
    #[error("could not write: {0}")]
    Print(#[from] io::Error),
    /// Another agent has written to the record.
    #[error("{0}")]
    Busy(String),
    /// A file may not be read, or the drill was not permitted.
    #[error("{0}")]
    NotPermitted(String),
    /// The site file, its requirement set or the practice script is wrong.
    #[error("{0}")]
    BadSiteFile(String),
    /// The record can't be used.
    #[error(transparent)]
    Record(#[from] RecordError),
}

impl CommandError {
    /// An input file that can't be read.
    pub(super) fn reading(e: &io::Error, why: String) -> Self {
        match e.kind() {
            io::ErrorKind::NotFound => Self::NoInput(why),
            io::ErrorKind::PermissionDenied => Self::NotPermitted(why),
            _ => Self::Io(why),
        }
    }

    /// The same, where the record at a path goes by other words.
    pub(super) fn said_of(self, path: &Path, words: &str) -> Self {
        let why = self.to_string().replace(&path.display().to_string(), words);
        match self.code() {
            BAD_RECORD => Self::BadRecord(why),
            PERMISSION => Self::NotPermitted(why),
            _ => Self::Io(why),
        }
    }

    /// The exit code.
    pub fn code(&self) -> i32 {
        match self {
            Self::Usage(_) => USAGE,
            Self::BadRecord(_) => BAD_RECORD,
            Self::NoInput(_) => NO_INPUT,
            Self::Internal(_) => INTERNAL,
            Self::Io(_) | Self::Print(_) => IO,
            Self::Busy(_) => BUSY,
            Self::NotPermitted(_) => PERMISSION,
            Self::BadSiteFile(_) => BAD_SITE_FILE,
            Self::Record(e) => match e {
                RecordError::NoFile { .. } => NO_INPUT,
                RecordError::Exists(_) => USAGE,
                RecordError::Foreign { .. }
                | RecordError::Newer { .. }
                | RecordError::Damaged { .. }
                | RecordError::Header(_) => BAD_RECORD,
                RecordError::Busy(_) => BUSY,
                RecordError::NotPermitted(_) => PERMISSION,
                RecordError::NotMade { .. } | RecordError::Store(_) => IO,
            },
        }
    }
}

/// The exit code of a verdict.
pub(super) fn of_verdict(kind: VerdictKind) -> i32 {
    match kind {
        VerdictKind::IpAlone => IP_ALONE,
        VerdictKind::MendFirst => MEND_FIRST,
        VerdictKind::AddCellular => ADD_CELLULAR,
        VerdictKind::KeepWatching => KEEP_WATCHING,
    }
}
