//! Titles of causes by their stable word.

use crate::judge::Cause;
use crate::words::causes;

/// The title of a cause by its stable word; the word itself where it is none of the judge's.
pub fn title(cause: &str) -> &str {
    Cause::from_word(cause).map_or(cause, |c| causes::row(c).title)
}

/// Title and stable word.
pub fn named(cause: &str) -> String {
    Cause::from_word(cause).map_or_else(|| cause.to_owned(), causes::named)
}
