//! A paper as JSON (RFC 8259): its blocks as they stand, and its fields for programs under `data`.

use super::Paper;
use crate::show::escape;

/// The paper as pretty JSON with a final newline. The same paper gives the same bytes.
///
/// # Panics
/// Never: a paper has only string keys, and numbers without a JSON form became `null` when its fields were made.
pub fn to_json(paper: &Paper) -> String {
    let plain = serde_json::to_string_pretty(paper).expect("a paper has only string keys, so it always serialises");
    escape::json(&plain)
}
