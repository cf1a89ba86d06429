//! Each cause for the homeowner by its stable word.

use crate::judge::Cause;
use crate::words::{Side, causes};

/// Side and half a sentence; no side where the cause is none of the judge's.
pub fn plain(cause: &str) -> (Option<Side>, &'static str) {
    Cause::from_word(cause).map_or((None, "the reason is not known"), |c| {
        let row = causes::row(c);
        (Some(row.side), row.short)
    })
}
