//! What only this machine knows of itself (machine-id(5)): not to be told on, only to derive from.

use std::path::Path;

/// Where it stands, the usual place first.
const PLACES: [&str; 2] = ["/etc/machine-id", "/var/lib/dbus/machine-id"];
/// Hexadecimal digits of one.
const DIGITS: usize = 32;

/// This machine's id; `None` where it has none.
pub fn id() -> Option<[u8; DIGITS]> {
    PLACES.iter().find_map(|place| read(Path::new(place)))
}

fn read(place: &Path) -> Option<[u8; DIGITS]> {
    let text = std::fs::read_to_string(place).ok()?;
    let id: [u8; DIGITS] = text.trim_end().as_bytes().try_into().ok()?;
    // An image that has not booted yet says "uninitialized", or nothing.
    (id.iter().all(u8::is_ascii_hexdigit) && id.iter().any(|b| *b != b'0')).then_some(id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_read_and_what_is_none_is_not_taken_for_one() {
        let file = tempfile::NamedTempFile::new().expect("a file");
        let said = |text: &str| {
            std::fs::write(file.path(), text).expect("written");
            read(file.path())
        };
        // As machine-id(5) describes it: 32 lower-case hexadecimal digits and a line feed.
        assert_eq!(said("0123456789abcdef0123456789abcdef\n"), Some(*b"0123456789abcdef0123456789abcdef"));
        for none in [
            "",
            "uninitialized\n",
            "0123456789abcdef",
            "00000000000000000000000000000000\n",
            "0123456789abcdef0123456789abcdeg\n",
        ] {
            assert_eq!(said(none), None, "{none}");
        }
    }
}
