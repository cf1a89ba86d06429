//! The requirement sets that ship with the program.

use crate::judge::requirement::RequirementSet;

const SHIPPED: [(&str, &str); 1] = [("household", include_str!("../../config/requirements/household.toml"))];

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_set_parses_and_goes_by_its_name() {
        for name in names() {
            assert_eq!(shipped(name).expect("parses").name, name);
        }
        assert!(shipped("no such set").is_none());
    }
}
