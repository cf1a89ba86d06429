//! The one table of what a site file may say: sections, keys, forms, limits, defaults and the words that explain them.
//!
//! Decides nothing by itself: `load` walks a file against it, `model` reads what passed, and `config/site.toml` is
//! written from it. A key that is not here does not exist, so a misspelt key can't be ignored in silence.

mod between;
mod key;
mod network;
mod panel;
mod place;
mod power;
mod signs;

pub use key::*;

/// All sections, in the order of the template.
pub static SECTIONS: &[Section] = &[
    place::SITE,
    network::RECEIVER,
    network::REFERENCE,
    network::RESOLVER,
    network::NAMES,
    network::CADENCE,
    between::IDLE_TEST,
    between::STUN_SERVER,
    between::CONTROL_PAGE,
    between::TIME_SOURCE,
    signs::POWER,
    place::SIGNALLING,
    place::RECALLED,
    place::DECISION,
    place::PLANNED,
    power::MAINS,
    power::GEAR,
    power::BACKUP,
    power::CELLULAR,
    panel::PANEL,
    panel::DEVICE,
    panel::WIRING,
    panel::CONDUCTOR,
];

/// The section of this name.
pub fn section(name: &str) -> Option<&'static Section> {
    SECTIONS.iter().find(|s| s.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::requirements;

    #[test]
    fn the_requirement_sets_that_may_be_named_are_those_that_ship() {
        assert!(REQUIREMENT_SETS.iter().all(|name| requirements::shipped(name).is_some()));
    }

    #[test]
    fn what_people_write_leads_to_a_key_that_is_there_and_still_free() {
        for (name, key, words) in SAID_FOR {
            let section = section(name).expect("a section");
            assert!(section.key(key).is_some(), "{name} {key}");
            for word in *words {
                assert!(section.key(word).is_none(), "{name} {word}");
                assert_eq!(section.meant(word, &[*key]), Some(*key), "{name} {word}");
                assert_eq!(section.meant(word, &[]), None, "{name} {word}");
            }
        }
        let receiver = section("receiver").expect("a section");
        assert_eq!(receiver.meant("adress", &["host", "port"]), Some("host"));
        assert_eq!(receiver.meant("id", &["name", "host", "port", "transport"]), None);
    }

    #[test]
    fn no_name_stands_twice() {
        for (i, section) in SECTIONS.iter().enumerate() {
            assert!(SECTIONS[..i].iter().all(|s| s.name != section.name), "{}", section.name);
            for (j, key) in section.keys.iter().enumerate() {
                assert!(section.keys[..j].iter().all(|k| k.name != key.name), "{} in {}", key.name, section.name);
            }
        }
    }
}
