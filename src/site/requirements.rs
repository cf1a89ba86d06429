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
    use crate::judge::supervision::COMMON;

    #[test]
    fn every_shipped_set_is_sound_and_goes_by_its_name() {
        for (name, _) in SHIPPED {
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
        for (name, _) in SHIPPED {
            let set = shipped(name).expect("parses");
            let (require, least) = set.shortest_watch(&Evidence::default()).expect("has requirements");
            let days = least.expect("some watch can show it").secs() / 86_400.0;
            // The bound for a count of none [GARWOOD36] alone asks for 30 ln 20 = 89.9 days [HAND26].
            // The strictest, a shop's delivery, takes 427 days by a tail wide enough for every kind of line.
            assert!((89.8..430.0).contains(&days), "{name}: {} needs {days}", require.name);
        }
    }

    #[test]
    fn an_interval_of_a_set_is_a_common_one_and_no_better_known_there() {
        // A set's interval and the table of common ones are two texts of one number: what one of them calls read in its
        // source the other must not call second-hand.
        let mut met = Vec::new();
        for (name, _) in SHIPPED {
            let set = shipped(name).expect("parses");
            for r in &set.require {
                let seconds = match r.ask {
                    Ask::Supervision { interval_s } => interval_s,
                    // A minute is what the retries bridge, no interval.
                    Ask::LongOutages { longer_than_s, .. } if longer_than_s > 60.0 => longer_than_s,
                    _ => continue,
                };
                let common = COMMON.iter().find(|c| (c.interval.secs() - seconds).abs() < 1e-9);
                assert_eq!(common.map(|c| c.tag), Some(r.tag.as_str()), "{name}: {}, {seconds} s", r.name);
                met.push(seconds as u32);
            }
        }
        met.sort_unstable();
        assert_eq!(met, [200, 360, 3_600, 90_000], "each set has one, and the file's name says which");
        for (name, seconds) in [("line-security-200s", "200"), ("line-security-360s", "360")] {
            assert!(name.contains(seconds) && shipped(name).expect("parses").words.contains(&format!("{seconds} s")));
        }
    }
}
