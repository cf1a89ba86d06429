//! How the record fares: what the writer tells everybody who looks.

use serde::{Deserialize, Serialize};

/// Whether entries reach the disk.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Keeping {
    /// They do.
    #[default]
    Writing,
    /// They don't: they wait in memory until they can be written.
    Waiting {
        /// Why, in words.
        why: String,
    },
}

/// How the record fares.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Whether entries reach the disk.
    pub keeping: Keeping,
    /// Entries waiting in memory to be written.
    pub waiting: u64,
    /// Entries given up because they could not be written for too long, or came faster than they could be.
    pub lost: u64,
    /// Bytes of the file, the log left out.
    pub bytes: u64,
}
