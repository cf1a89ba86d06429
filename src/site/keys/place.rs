//! Rows of the table of keys for the site itself, what it signals and what its customer recalls: `[site]`, `[signalling]`,
//! `[recalled]`, `[decision]`, `[[planned]]`.

use super::key::{ACCESSES, KINDS, Key, MOST_PLANNED, MOST_RETRIES, NAME, REQUIREMENT_SETS, Section, USES, Unset};
use crate::judge::Micros;
use crate::site::value::Form;

/// What the site is.
pub(super) const SITE: Section = Section {
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
};

/// How the communicator tries.
pub(super) const SIGNALLING: Section = Section {
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
};

/// What the customer recalls.
pub(super) const RECALLED: Section = Section {
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
};

/// How careful the choice is.
pub(super) const DECISION: Section = Section {
    name: "decision",
    many: None,
    about: &["How careful the choice for today is. No probe can find that out: it is the customer's to say."],
    keys: &[
        Key {
            name: "caution",
            form: Form::Whole { least: 1, most: 99 },
            unset: Unset::Later("9, a choice of this program"),
            example: "19",
            about: "How many unneeded cellular backups weigh as much as one line wrongly left without. With 9, IP alone is \
                    advised at odds of 9 in 10 or better; with 19, at 19 in 20.",
        },
        Key {
            name: "unmonitored_hour",
            form: Form::Whole { least: 1, most: 1_000_000 },
            unset: Unset::Later("not used"),
            example: "20",
            about: "What an hour without monitoring is worth to the customer, in the money of monthly_fee. With both, and \
                    without caution, the caution is what a line that just misses what is asked would cost in a year, over a \
                    year's fees.",
        },
    ],
};

/// Planned spans.
pub(super) const PLANNED: Section = Section {
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
};
