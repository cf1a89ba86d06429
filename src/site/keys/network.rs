//! Rows of the table of keys for what is asked on the network, and how often: `[[receiver]]`, `[[reference]]`,
//! `[[resolver]]`, `[names]`, `[cadence]`.

use super::key::{Key, MOST_TARGETS, NAME, Section, TRANSPORTS, Unset, every};
use super::signs;
use crate::site::cadence;
use crate::site::value::Form;

/// Receivers.
pub(super) const RECEIVER: Section = Section {
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
};

/// Reference points.
pub(super) const REFERENCE: Section = Section {
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
};

/// Resolvers.
pub(super) const RESOLVER: Section = Section {
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
};

/// What resolvers are asked.
pub(super) const NAMES: Section = Section {
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
};

/// How often.
pub(super) const CADENCE: Section = Section {
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
        signs::EVERY_MAINS,
        signs::EVERY_SIGNS,
    ],
};
