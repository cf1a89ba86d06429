//! The requirement sets that ship with the program, and sets somebody wrote.

use crate::judge::requirement::RequirementSet;
use std::path::Path;

const SHIPPED: [(&str, &str); 4] = [
    ("household", include_str!("../../config/requirements/household.toml")),
    ("small-business", include_str!("../../config/requirements/small-business.toml")),
    ("line-security-200s", include_str!("../../config/requirements/line-security-200s.toml")),
    ("line-security-360s", include_str!("../../config/requirements/line-security-360s.toml")),
];

/// The longest file of a set, bytes.
pub const LONGEST_SET: usize = 64 * 1024;

/// Names of the shipped sets.
pub fn names() -> impl Iterator<Item = &'static str> {
    SHIPPED.iter().map(|(name, _)| *name)
}

/// A shipped set by name; `None` for a name nobody ships.
pub fn shipped(name: &str) -> Option<RequirementSet> {
    let (_, text) = SHIPPED.iter().find(|(n, _)| *n == name)?;
    // Parsed by a test for every set, so this never fails in a build that passed.
    toml::from_str(text).ok()
}

/// Whether a site file's `requirements` names a file rather than a shipped set.
pub fn is_file(requirements: &str) -> bool {
    Path::new(requirements).extension().is_some_and(|e| e == "toml")
}

/// A set from the text of its file. The error is for people; it may hold pieces of the file.
pub fn read(text: &str) -> Result<RequirementSet, String> {
    if text.len() > LONGEST_SET {
        return Err(format!("more than {LONGEST_SET} bytes"));
    }
    let set: RequirementSet = toml::from_str(text).map_err(|e| e.to_string())?;
    set.check()?;
    Ok(set)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::requirement::{Ask, Evidence};

    #[test]
    fn every_shipped_set_is_sound_and_goes_by_its_name() {
        for name in names() {
            let set = shipped(name).expect("parses");
            assert_eq!((set.name.as_str(), set.check()), (name, Ok(())));
        }
        assert!(shipped("no such set").is_none());
    }

    #[test]
    fn the_template_is_a_sound_set_and_shows_every_kind() {
        let set = read(include_str!("../../config/requirements/template.toml")).expect("sound");
        let kinds: std::collections::BTreeSet<_> =
            set.require.iter().map(|r| std::mem::discriminant(&r.ask)).map(|d| format!("{d:?}")).collect();
        assert_eq!(kinds.len(), 5);
        assert!(read("name = \"x\"\nwords = \"\"\nrequire = []").is_err());
        assert!(read("no toml").is_err());
    }

    #[test]
    fn every_shipped_set_says_how_long_it_takes_and_only_the_strictest_take_more_than_a_year() {
        for name in names() {
            let set = shipped(name).expect("parses");
            let (require, least) = set.shortest_watch(&Evidence::default()).expect("has requirements");
            let days = least.expect("some watch can show it").secs() / 86_400.0;
            // Garwood's bound for a count of none alone asks for 30 ln 20 = 89.9 days (facts/statistics 4.6).
            assert!((89.8..400.0).contains(&days), "{name}: {} needs {days}", require.name);
        }
    }

    #[test]
    fn the_line_security_intervals_are_those_of_the_trade() {
        // facts/trade 3.3: 200 s on a single path, 360 s on the first of two [V].
        for (name, want) in [("line-security-200s", 200.0), ("line-security-360s", 360.0)] {
            let asks: Vec<Ask> = shipped(name).expect("parses").require.iter().map(|r| r.ask).collect();
            let has =
                |a: &Ask| matches!(a, Ask::LongOutages { longer_than_s, .. } if (longer_than_s - want).abs() < 1e-9);
            assert!(asks.iter().any(has), "{name}");
        }
    }
}
