//! The one table of what a site file may say: sections, keys, forms, limits, defaults and the words that explain them.
//!
//! Decides nothing by itself: `load` walks a file against it, `template` prints it, `model` reads what passed. A key
//! that is not here does not exist, so a misspelt key can't be ignored in silence.

use super::cadence;
use super::value::{self, Form};
use crate::judge::Micros;

/// One section of the site file.
#[derive(Debug)]
pub struct Section {
    /// Its name, as in `[name]` or `[[name]]`.
    pub name: &'static str,
    /// How many times it may stand, for `[[name]]`; `None` for a `[name]` that stands once.
    pub many: Option<usize>,
    /// What it is for, line by line.
    pub about: &'static [&'static str],
    /// Its keys.
    pub keys: &'static [Key],
}

/// One key of a section.
#[derive(Debug)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// What may stand there.
    pub form: Form,
    /// What holds when the file does not say.
    pub unset: Unset,
    /// A valid value, as TOML.
    pub example: &'static str,
    /// What it means, one sentence or two.
    pub about: &'static str,
}

/// What holds when a key is not in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unset {
    /// This value, as TOML.
    Is(&'static str),
    /// Nothing yet; settled later, in these words.
    Later(&'static str),
    /// Refused: the section makes no sense without it.
    Refused,
}

/// The most receivers, reference points or resolvers a site file may name.
pub const MOST_TARGETS: usize = 8;
/// The most pieces of network gear.
pub const MOST_GEAR: usize = 16;
/// The most planned spans.
pub const MOST_PLANNED: usize = 64;
/// The most attempts in a retry schedule.
pub const MOST_RETRIES: usize = 32;
/// The longest site file, bytes.
pub const LONGEST_FILE: usize = 64 * 1024;

/// Words of `[site] kind`.
pub const KINDS: &[&str] = &["household", "small-business"];
/// Words of `[site] access`.
pub const ACCESSES: &[&str] = &["fibre", "cable", "dsl", "fixed-wireless", "satellite", "unknown"];
/// Words of `[site] requirements`: the sets that ship.
pub const REQUIREMENT_SETS: &[&str] = &["household", "small-business", "line-security-200s", "line-security-360s"];
/// Words of `[site] uses`.
pub const USES: &[&str] = &["burglary", "fire", "co", "medical", "hold-up"];
/// Words of `[[receiver]] transport`.
pub const TRANSPORTS: &[&str] = &["tcp", "tls"];
/// Words of `[[gear]] powered_by`.
pub const POWERED_BY: &[&str] = &["wall", "backup", "switched-outlet", "unknown"];

const NAME: Form = Form::Label { longest: 40 };
const MILLIAMPERES: Form = Form::Whole { least: 0, most: 20_000 };

const HOURS_PER_YEAR: Form = Form::Whole { least: 0, most: 8_760 };

const fn every(least: Micros) -> Form {
    Form::Length { least, most: cadence::CEILING }
}

/// What people write for a key: section, key, their words.
const SAID_FOR: &[(&str, &str, &[&str])] = &[
    ("receiver", "host", &["address", "ip", "ip_address", "hostname", "server"]),
    ("receiver", "transport", &["protocol"]),
    ("reference", "address", &["host", "ip", "ip_address", "hostname", "server"]),
    ("resolver", "address", &["host", "ip", "ip_address", "hostname", "server"]),
    ("planned", "from", &["start", "begin"]),
    ("planned", "to", &["end", "until"]),
];

/// All sections, in the order of the template.
pub static SECTIONS: &[Section] = &[
    Section {
        name: "site",
        many: None,
        about: &["What the site is and what it is judged by."],
        keys: &[
            Key {
                name: "id",
                form: Form::Id { longest: 40 },
                unset: Unset::Is("\"site\""),
                example: "\"site-0042\"",
                about: "Your own mark for the site, shown on reports. Use no person's name and no street address.",
            },
            Key {
                name: "kind",
                form: Form::Word(KINDS),
                unset: Unset::Is("\"household\""),
                example: "\"small-business\"",
                about: "What the site is.",
            },
            Key {
                name: "access",
                form: Form::Word(ACCESSES),
                unset: Unset::Is("\"unknown\""),
                example: "\"fibre\"",
                about: "The kind of line the internet comes by.",
            },
            Key {
                name: "interface",
                form: Form::Interface,
                unset: Unset::Later("the one that holds the default route"),
                example: "\"eth0\"",
                about: "The network interface to look through.",
            },
            Key {
                name: "lease_file",
                form: Form::File,
                unset: Unset::Later("the usual places of the known address clients"),
                example: "\"/var/lib/dhcp/dhclient.eth0.leases\"",
                about: "A lease file of this host's own address client, read besides the usual places.",
            },
            Key {
                name: "requirements",
                form: Form::WordOrFile(REQUIREMENT_SETS),
                unset: Unset::Is("\"household\""),
                example: "\"household\"",
                about: "The set of thresholds the site is judged by: one that ships, or a file of your own beside this one \
                        (copy config/requirements/template.toml).",
            },
            Key {
                name: "supervision",
                form: Form::Length { least: Micros::from_secs(10), most: Micros::from_secs(32 * 86_400) },
                unset: Unset::Later("not known, and the report says so"),
                example: "\"25h\"",
                about: "How long the station waits in silence before it knows. Ask the station; it is on the account.",
            },
            Key {
                name: "uses",
                form: Form::Words(USES),
                unset: Unset::Is("[\"burglary\"]"),
                example: "[\"burglary\"]",
                about: "What the alarm system signals. Only burglary can be judged here: with fire, co, medical or \
                        hold-up among them the answer is \"out of scope\", and the authority decides.",
            },
        ],
    },
    Section {
        name: "receiver",
        many: Some(MOST_TARGETS),
        about: &[
            "A receiver of the monitoring station. Only what is named here is ever connected to; the connection is",
            "closed at once and nothing is sent on it. Ask the station before you name its receiver.",
        ],
        keys: &[
            Key {
                name: "name",
                form: NAME,
                unset: Unset::Refused,
                example: "\"first receiver\"",
                about: "What reports call it.",
            },
            Key {
                name: "host",
                form: Form::Host,
                unset: Unset::Refused,
                example: "\"receiver.station.example\"",
                about: "Its name or address.",
            },
            Key {
                name: "port",
                form: Form::Whole { least: 1, most: 65_535 },
                unset: Unset::Refused,
                example: "9999",
                about: "Its TCP port.",
            },
            Key {
                name: "transport",
                form: Form::Word(TRANSPORTS),
                unset: Unset::Is("\"tcp\""),
                example: "\"tls\"",
                about: "tcp: connect and close. tls: also complete a TLS handshake.",
            },
        ],
    },
    Section {
        name: "reference",
        many: Some(MOST_TARGETS),
        about: &[
            "An outside address asked one small DNS question, to tell \"the internet\" from \"the receiver\". Name at",
            "least three that have nothing to do with each other, and only ones you may use. Without any, four of the",
            "DNS root's service addresses are asked, not oftener than every 10 s each.",
        ],
        keys: &[
            Key {
                name: "name",
                form: NAME,
                unset: Unset::Refused,
                example: "\"first reference\"",
                about: "What reports call it.",
            },
            Key {
                name: "address",
                form: Form::AddressPort { port: 53 },
                unset: Unset::Refused,
                example: "\"192.0.2.53\"",
                about: "Its address, with a port if it is not 53: \"192.0.2.53:5300\", \"[2001:db8::53]:5300\".",
            },
        ],
    },
    Section {
        name: "resolver",
        many: Some(MOST_TARGETS),
        about: &["A name server to ask directly. Without any: those of the lease or of the host."],
        keys: &[Key {
            name: "address",
            form: Form::AddressPort { port: 53 },
            unset: Unset::Refused,
            example: "\"192.0.2.1\"",
            about: "Its address, with a port if it is not 53.",
        }],
    },
    Section {
        name: "names",
        many: None,
        about: &["What the resolvers are asked."],
        keys: &[Key {
            name: "existing",
            form: Form::Name,
            unset: Unset::Is("\"example.com.\""),
            example: "\"example.com.\"",
            about: "A name known to exist (RFC 2606 keeps the default for such use).",
        }],
    },
    Section {
        name: "cadence",
        many: None,
        about: &[
            "How often each question is asked while all is well. While something is bad it is asked every second, where",
            "the least allowed lets it.",
        ],
        keys: &[
            Key {
                name: "local",
                form: every(cadence::FLOOR_LOCAL),
                unset: Unset::Later("\"1s\" in a survey"),
                example: "\"1s\"",
                about: "This host's link and addresses, read from the kernel. Sends nothing.",
            },
            Key {
                name: "router",
                form: every(cadence::FLOOR_ROUTER),
                unset: Unset::Later("\"1s\" in a survey"),
                example: "\"1s\"",
                about: "The gateway.",
            },
            Key {
                name: "names",
                form: every(cadence::FLOOR_NAMES),
                unset: Unset::Later("\"2s\" in a survey"),
                example: "\"2s\"",
                about: "Each resolver.",
            },
            Key {
                name: "outside",
                form: every(cadence::FLOOR_OUTSIDE),
                unset: Unset::Later("\"10s\" in a survey"),
                example: "\"10s\"",
                about: "Each reference point. The built-in ones are not asked oftener than every 10 s.",
            },
            Key {
                name: "receiver",
                form: every(cadence::FLOOR_RECEIVER),
                unset: Unset::Later("\"5s\" in a survey"),
                example: "\"5s\"",
                about: "Each receiver.",
            },
            Key {
                name: "offers",
                form: every(cadence::FLOOR_OFFERS),
                unset: Unset::Later("\"60s\" in a survey"),
                example: "\"60s\"",
                about: "A look for address servers and address conflicts. These are broadcasts.",
            },
        ],
    },
    Section {
        name: "mains",
        many: None,
        about: &["What is known of the power of the network gear. A week almost never shows a power cut."],
        keys: &[
            Key {
                name: "backed",
                form: Form::Flag,
                unset: Unset::Later("not known"),
                example: "true",
                about: "Whether the whole chain of network gear is on a battery backup.",
            },
            Key {
                name: "minutes",
                form: Form::Whole { least: 0, most: 10_080 },
                unset: Unset::Later("not known"),
                example: "90",
                about: "How long that backup carries the gear, in minutes, measured rather than from the label.",
            },
            Key {
                name: "hours_down_per_year",
                form: HOURS_PER_YEAR,
                unset: Unset::Later("left out of the outlook, which says so"),
                example: "4",
                about: "Hours a year in which the network gear is without power, after its backup.",
            },
        ],
    },
    Section {
        name: "signalling",
        many: None,
        about: &["How the alarm communicator tries to get an alarm through. Its manual or its maker says."],
        keys: &[
            Key {
                name: "retries",
                form: Form::Lengths { least: Micros::ZERO, most: Micros::from_secs(86_400), count: MOST_RETRIES },
                unset: Unset::Later("at once and after 5, 15, 35 and 75 s, a choice of this program"),
                example: "[\"0s\", \"5s\", \"15s\", \"35s\", \"75s\"]",
                about: "When it tries, counted from the alarm, one after the other.",
            },
            Key {
                name: "within",
                form: Form::Length { least: Micros::from_secs(1), most: Micros::from_secs(86_400) },
                unset: Unset::Later("90 s, or what the set of thresholds says"),
                example: "\"90s\"",
                about: "Within which time an alarm must be through.",
            },
        ],
    },
    Section {
        name: "recalled",
        many: None,
        about: &["What the customer recalls of the last year. Weak evidence, and shown as such."],
        keys: &[
            Key {
                name: "outages_last_year",
                form: Form::Whole { least: 0, most: 366 },
                unset: Unset::Later("nobody was asked"),
                example: "3",
                about: "How often the internet was away, as far as anyone recalls.",
            },
            Key {
                name: "worst",
                form: Form::Length { least: Micros::from_secs(1), most: Micros::from_secs(366 * 86_400) },
                unset: Unset::Later("not known"),
                example: "\"12h\"",
                about: "How long the worst of them lasted.",
            },
        ],
    },
    Section {
        name: "cellular",
        many: None,
        about: &["A cellular second path, for the outlook. Nothing here can be seen from the network."],
        keys: &[
            Key {
                name: "hours_down_per_year",
                form: HOURS_PER_YEAR,
                unset: Unset::Later("44 hours (0.5 % of the year), a choice of this program"),
                example: "44",
                about: "Hours a year in which the cellular path is down.",
            },
            Key {
                name: "shared_percent",
                form: Form::Whole { least: 0, most: 100 },
                unset: Unset::Later("10, a choice of this program"),
                example: "10",
                about: "Of the better path's failures, how many in a hundred take both paths (a wide power cut, one trench).",
            },
            Key {
                name: "monthly_fee",
                form: Form::Whole { least: 0, most: 1_000_000 },
                unset: Unset::Later("not entered, and nothing is said of cost"),
                example: "10",
                about: "What it costs a month, in your own money.",
            },
        ],
    },
    Section {
        name: "planned",
        many: Some(MOST_PLANNED),
        about: &["A drill or planned work. What happens in it counts neither for nor against the path."],
        keys: &[
            Key {
                name: "from",
                form: Form::Time,
                unset: Unset::Refused,
                example: "\"2026-03-10T09:00:00Z\"",
                about: "From when, with the offset from UTC (RFC 3339).",
            },
            Key {
                name: "to",
                form: Form::Time,
                unset: Unset::Refused,
                example: "\"2026-03-10T10:00:00Z\"",
                about: "Until when.",
            },
            Key {
                name: "what",
                form: NAME,
                unset: Unset::Is("\"planned\""),
                example: "\"yearly drill\"",
                about: "What was planned.",
            },
        ],
    },
    Section {
        name: "gear",
        many: Some(MOST_GEAR),
        about: &["A piece of network gear on the path: line terminal, router, switch, radio bridge."],
        keys: &[
            Key {
                name: "name",
                form: NAME,
                unset: Unset::Refused,
                example: "\"router\"",
                about: "What reports call it.",
            },
            Key {
                name: "powered_by",
                form: Form::Word(POWERED_BY),
                unset: Unset::Is("\"unknown\""),
                example: "\"wall\"",
                about: "Where its power comes from.",
            },
        ],
    },
    Section {
        name: "panel",
        many: None,
        about: &["The alarm panel, for the worksheets. Nothing is ever sent to it or powered from it."],
        keys: &[
            Key {
                name: "aux_limit_ma",
                form: MILLIAMPERES,
                unset: Unset::Later("not known"),
                example: "600",
                about: "What its auxiliary output may deliver, in mA, from its manual.",
            },
            Key {
                name: "aux_load_ma",
                form: MILLIAMPERES,
                unset: Unset::Later("not known"),
                example: "240",
                about: "What already hangs on that output, in mA.",
            },
            Key {
                name: "communicator_mac",
                form: Form::HardwareAddress,
                unset: Unset::Later("not known"),
                example: "\"02:00:5e:10:00:01\"",
                about: "The hardware address of the communicator.",
            },
        ],
    },
];

/// The section of this name.
pub fn section(name: &str) -> Option<&'static Section> {
    SECTIONS.iter().find(|s| s.name == name)
}

impl Section {
    /// The key of this name.
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }

    /// The key of those in `free` that was most likely meant by a name it does not have: by spelling, or by a word
    /// people use for it.
    pub fn meant(&self, said: &str, free: &[&'static str]) -> Option<&'static str> {
        if let Some(near) = value::nearest(said, free.iter().copied()) {
            return Some(near);
        }
        SAID_FOR.iter().filter(|(s, key, _)| *s == self.name && free.contains(key)).find_map(|(_, key, words)| {
            let said = said.to_lowercase();
            // Two letters are near too much; such a word must be the very one.
            let long = words.iter().copied().filter(|w| w.len() > 3);
            (words.contains(&said.as_str()) || value::nearest(&said, long).is_some()).then_some(*key)
        })
    }

    /// The heading that opens it: `[site]`, `[[receiver]]`.
    pub fn heading(&self) -> String {
        if self.many.is_some() { format!("[[{}]]", self.name) } else { format!("[{}]", self.name) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::requirements;

    #[test]
    fn the_requirement_sets_that_may_be_named_are_those_that_ship() {
        assert!(REQUIREMENT_SETS.iter().copied().eq(requirements::names()));
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
