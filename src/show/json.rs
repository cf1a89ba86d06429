//! The snapshot as JSON (RFC 8259): pretty, keys in a fixed order, documented in `json.md` below.
//!
//! Decides only the escaping that RFC 8259 leaves free: characters that steer a terminal or reorder text are written as
//! `\u` escapes, so the file is safe to print and its values are unchanged.
#![doc = include_str!("json.md")]

use super::escape;
use crate::snapshot::Snapshot;

/// The snapshot as pretty JSON with a final newline. The same snapshot gives the same bytes.
///
/// # Panics
/// Never: a snapshot has only string keys, and numbers without a JSON form become `null`.
pub fn to_json(s: &Snapshot) -> String {
    let plain = serde_json::to_string_pretty(s).expect("a snapshot has only string keys, so it always serialises");
    escape::json(&plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steering_characters_are_escaped_and_come_back_unchanged() {
        let s = Snapshot { site: "a\u{9b}\u{202e}\x1b\u{7f}\u{e0001}\nb".to_owned(), ..Snapshot::default() };
        let json = to_json(&s);
        assert!(json.chars().all(|c| c == '\n' || !escape::is_steering(c)));
        assert_eq!(serde_json::from_str::<Snapshot>(&json).expect("own output parses").site, s.site);
    }
}
