//! The sections about what lies between here and the receiver: idle times, the outside's view, pages in between, clocks.
//!
//! Decides nothing: rows of the table of keys. None of these hosts is asked unless the site file names it.

use super::key::{Key, MOST_TARGETS, NAME, OVER, Section, Unset};
use crate::judge::Micros;
use crate::site::cadence;
use crate::site::value::Form;

const fn name(example: &'static str) -> Key {
    Key { name: "name", form: NAME, unset: Unset::Refused, example, about: "What reports call it." }
}

const fn host(example: &'static str) -> Key {
    Key { name: "host", form: Form::Host, unset: Unset::Refused, example, about: "Its name or address." }
}

const fn port(unset: Unset, example: &'static str, about: &'static str) -> Key {
    Key { name: "port", form: Form::Whole { least: 1, most: 65_535 }, unset, example, about }
}

const fn every(least: Micros, usual: &'static str, about: &'static str) -> Key {
    let form = Form::Length { least, most: cadence::CEILING_BETWEEN };
    Key { name: "every", form, unset: Unset::Is(usual), example: usual, about }
}

pub(super) const IDLE_TEST: Section = Section {
    name: "idle_test",
    many: Some(MOST_TARGETS),
    about: &[
        "A host of your own, or one whose owner allows it, on which idle connections may be held: never a receiver of",
        "alarms. Up to eight at a time are opened and left alone for different times, to learn how long what lies",
        "between remembers an idle one. No data is sent: over TCP the kernel's own empty keep-alive asks whether the",
        "connection is still there; over UDP a STUN server is asked.",
    ],
    keys: &[
        name("\"idle test\""),
        host("\"echo.dealer.example\""),
        port(Unset::Refused, "7", "Its port; over UDP that of its STUN service, usually 3478."),
        Key {
            name: "over",
            form: Form::Word(OVER),
            unset: Unset::Is("\"tcp\""),
            example: "\"udp\"",
            about: "tcp: any service that leaves an idle connection open. udp: a STUN server (RFC 8489).",
        },
        Key {
            name: "longest",
            form: Form::Length { least: Micros::from_secs(30), most: Micros::from_secs(9_000) },
            unset: Unset::Is("\"10m\""),
            example: "\"10m\"",
            about: "The longest idle time tried. RFC 4787 wants two minutes for UDP, RFC 5382 124 minutes for TCP.",
        },
        every(cadence::FLOOR_IDLE, "\"24h\"", "How often it is measured; the first time at once."),
    ],
};

pub(super) const STUN_SERVER: Section = Section {
    name: "stun_server",
    many: Some(MOST_TARGETS),
    about: &["A STUN server (RFC 8489) that says which address the outside sees. Name only one you may use."],
    keys: &[
        name("\"stun\""),
        host("\"stun.dealer.example\""),
        port(Unset::Is("3478"), "3478", "Its UDP port."),
        every(cadence::FLOOR_STUN, "\"10m\"", "How often it is asked."),
    ],
};

pub(super) const CONTROL_PAGE: Section = Section {
    name: "control_page",
    many: Some(MOST_TARGETS),
    about: &[
        "A page fetched by plain HTTP, to see whether something between answers in its place: a login page, a notice",
        "of an unpaid bill. Name only one you may use.",
    ],
    keys: &[
        name("\"control page\""),
        host("\"www.dealer.example\""),
        port(Unset::Is("80"), "80", "Its TCP port."),
        Key { name: "path", form: Form::Page, unset: Unset::Is("\"/\""), example: "\"/empty\"", about: "The page." },
        Key {
            name: "status",
            form: Form::Whole { least: 200, most: 599 },
            unset: Unset::Is("204"),
            example: "200",
            about: "The status code it really has.",
        },
        Key {
            name: "body",
            form: Form::Label { longest: 200 },
            unset: Unset::Later("any body will do"),
            example: "\"all clear\"",
            about: "The whole text of it, where that is short.",
        },
        every(cadence::FLOOR_PAGE, "\"5m\"", "How often it is asked for."),
    ],
};

pub(super) const TIME_SOURCE: Section = Section {
    name: "time_source",
    many: Some(MOST_TARGETS),
    about: &[
        "A time source (NTP, RFC 5905) to compare this host's clock with: the site's own, the provider's, or one you",
        "may use. A communicator whose clock is far off may be refused by the receiver.",
    ],
    keys: &[
        name("\"time\""),
        host("\"time.dealer.example\""),
        port(Unset::Is("123"), "123", "Its UDP port."),
        every(cadence::FLOOR_TIME, "\"15m\"", "How often it is asked."),
    ],
};
