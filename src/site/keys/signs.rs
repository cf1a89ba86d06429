//! Rows of the table of keys for the signs of lost power: who may be asked of the mains, and how often.
//!
//! Decides nothing by itself, like the rest of the table. Without any of it this host's own power supplies are looked
//! at, the router is asked in the way every home router may be, and the tables the kernel keeps anyway are read.

use super::key::{Key, NAME, Section, Unset, every};
use crate::site::cadence;
use crate::site::value::Form;

/// Port of a NUT server (IANA service name `nut`).
const NUT_PORT: u16 = 3_493;
/// Port of an SNMP agent (RFC 3417 section 3.2).
const SNMP_PORT: u16 = 161;

/// Whom to ask of the mains and of the router's life.
pub(super) const POWER: Section = Section {
    name: "power",
    many: None,
    about: &[
        "Whom to ask whether there is mains, and how long the router has been up: it tells a power cut from a",
        "fault of the line. Only questions are asked; nothing is switched, set or logged in to.",
    ],
    keys: &[
        Key {
            name: "nut",
            form: Form::AddressPort { port: NUT_PORT },
            unset: Unset::Later("only this host's own power supplies are looked at"),
            example: "\"192.0.2.10\"",
            about: "The address of a NUT server that watches the backup unit of the network gear, with a port if it is not \
                    3493.",
        },
        Key {
            name: "nut_unit",
            form: Form::Id { longest: 40 },
            unset: Unset::Is("\"ups\""),
            example: "\"ups\"",
            about: "What that server calls the unit.",
        },
        Key {
            name: "ask_router",
            form: Form::Flag,
            unset: Unset::Is("true"),
            example: "false",
            about: "Whether the router is asked by UPnP how long it has been connected. The search for it goes to every \
                    host of the local network; only the gateway's answer counts.",
        },
        Key {
            name: "snmp",
            form: Form::AddressPort { port: SNMP_PORT },
            unset: Unset::Later("no SNMP agent is asked"),
            example: "\"192.0.2.1\"",
            about: "The address of the router's SNMP agent, where it has one and you may ask it, with a port if it is not \
                    161.",
        },
        Key {
            name: "snmp_community",
            form: NAME,
            unset: Unset::Is("\"public\""),
            example: "\"public\"",
            about: "The community that may read it. It goes over the network in the clear (version 2c).",
        },
    ],
};

/// How often mains is asked for.
pub(super) const EVERY_MAINS: Key = Key {
    name: "mains",
    form: every(cadence::FLOOR_MAINS),
    unset: Unset::Later("\"5s\" in a survey"),
    example: "\"5s\"",
    about: "Mains, as this host's power supplies and the NUT server see it.",
};

/// How often the slower signs are asked for.
pub(super) const EVERY_SIGNS: Key = Key {
    name: "signs",
    form: every(cadence::FLOOR_SIGNS),
    unset: Unset::Later("\"60s\" in a survey"),
    example: "\"60s\"",
    about: "The router's own account of itself, the neighbours, the radio link and the communicator's presence.",
};
