//! One value of the site file: read, and checked against its form.
//!
//! Decides what each form accepts and, where it refuses, what to write instead. Addresses are refused by the registries
//! of RFC 6890 (unspecified, multicast, broadcast, "this network"); host names by RFC 1123 section 2.1 and the lengths
//! of RFC 1035 section 2.3.4; hardware addresses by the group bit of IEEE 802.

mod address;
mod text;
mod time;

pub use address::Host;
pub use text::{list, nearest, word};
pub use time::{lengths, written};

use crate::judge::{Micros, WallTime};
use crate::worksheet::copper::Gauge;
use crate::worksheet::firmware::Version;
use crate::worksheet::units::Dimension;
use std::net::SocketAddr;

/// What may stand at a key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Form {
    /// A name for people: letters, digits, spaces and a little punctuation.
    Label {
        /// Most characters.
        longest: usize,
    },
    /// A mark for machines: ASCII letters, digits, `-`, `_`, `.`.
    Id {
        /// Most characters.
        longest: usize,
    },
    /// A network interface's name.
    Interface,
    /// The absolute path of a file.
    File,
    /// A host by name or address.
    Host,
    /// A domain name.
    Name,
    /// An address, with or without a port.
    AddressPort {
        /// The port where none is written.
        port: u16,
    },
    /// The path of a page on a web server.
    Page,
    /// A whole number.
    Whole {
        /// Least accepted.
        least: i64,
        /// Most accepted.
        most: i64,
    },
    /// A length of time, as text with units.
    Length {
        /// Shortest accepted.
        least: Micros,
        /// Longest accepted.
        most: Micros,
    },
    /// True or false.
    Flag,
    /// One of these words.
    Word(&'static [&'static str]),
    /// One of these words, or the name of a TOML file.
    WordOrFile(&'static [&'static str]),
    /// A moment, as text (RFC 3339).
    Time,
    /// A list of lengths of time, ascending.
    Lengths {
        /// Shortest accepted.
        least: Micros,
        /// Longest accepted.
        most: Micros,
        /// Most of them.
        count: usize,
    },
    /// A list of these words, at least one, none twice.
    Words(&'static [&'static str]),
    /// A hardware address of one station.
    HardwareAddress,
    /// A quantity with its unit, as text; a bare number where the dimension has no unit.
    Amount(&'static Dimension),
    /// The size of a conductor, with its system.
    Gauge,
    /// A version of dotted numbers.
    Version,
}

/// A number that is one: never NaN.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount(pub f64);

// `Dimension` lets no NaN pass.
impl Eq for Amount {}

/// A value that passed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// A label, id, interface, path, name, word, size or version.
    Text(String),
    /// A quantity in the unit its dimension keeps.
    Amount(Amount),
    /// A host.
    Host(Host),
    /// An address and port.
    Socket(SocketAddr),
    /// A whole number, within its limits.
    Whole(i64),
    /// A length of time, within its limits.
    Length(Micros),
    /// Lengths of time, ascending.
    Lengths(Vec<Micros>),
    /// A moment.
    Time(WallTime),
    /// True or false.
    Flag(bool),
    /// Words, each of the list.
    Words(Vec<String>),
    /// A hardware address.
    Hardware([u8; 6]),
}

impl Form {
    /// What the form accepts, in words.
    pub fn expected(&self) -> String {
        match *self {
            Self::Label { longest } => format!("a name of 1 to {longest} letters, digits, spaces or - _ . : / ( )"),
            Self::Id { longest } => format!("1 to {longest} characters of . - _ a-z A-Z 0-9"),
            Self::Interface => "the name of a network interface, up to 15 characters".into(),
            Self::File => "the absolute path of a file".into(),
            Self::Host => "a host name or an IP address".into(),
            Self::Name => "a domain name".into(),
            Self::AddressPort { port } => format!("an IP address, with a port if it is not {port}"),
            Self::Page => "the path of a page, from \"/\", up to 200 ASCII characters".into(),
            Self::Whole { least, most } => format!("a whole number from {least} to {most}"),
            Self::Length { least, most } => format!("a length of time from {least} to {most}"),
            Self::Flag => "true or false".into(),
            Self::Word(&[only]) => only.into(),
            Self::Word(words) => format!("one of {}", list(words)),
            Self::WordOrFile(words) => format!("one of {}, or the name of a file that ends in .toml", list(words)),
            Self::Time => "a moment with its offset from UTC (RFC 3339)".into(),
            Self::Lengths { least, most, count } => {
                format!("a list of 1 to {count} lengths of time from {least} to {most}, ascending")
            }
            Self::Words(words) => format!("a list of one or more of {}", list(words)),
            Self::HardwareAddress => "the hardware address of one station, six pairs of hex digits".into(),
            Self::Amount(dimension) => dimension.expected(),
            Self::Gauge => "the size of a conductor with its system, \"22 AWG\" or \"0.75 mm2\"".into(),
            Self::Version => "a version of dotted whole numbers".into(),
        }
    }

    /// Reads a piece of text. The error is what to write instead.
    pub fn read(&self, text: &str) -> Result<Value, String> {
        match *self {
            Self::Label { longest } => text::label(text, longest).map(Value::Text),
            Self::Id { longest } => text::id(text, longest).map(Value::Text),
            Self::Interface => text::interface(text).map(Value::Text),
            Self::File => text::file(text).map(Value::Text),
            Self::Host => address::host(text).map(Value::Host),
            Self::Name => address::name(text).map(Value::Text),
            Self::AddressPort { port } => address::address_port(text, port).map(Value::Socket),
            Self::Page => text::page(text).map(Value::Text),
            Self::Length { least, most } => time::length(text, least, most).map(Value::Length),
            Self::Word(words) => text::word(text, words).map(Value::Text),
            Self::WordOrFile(words) => text::word_or_file(text, words).map(Value::Text),
            Self::Time => time::time(text).map(Value::Time),
            Self::HardwareAddress => address::hardware(text).map(Value::Hardware),
            Self::Amount(dimension) if !dimension.units.is_empty() => {
                dimension.read(text).map(|x| Value::Amount(Amount(x)))
            }
            Self::Gauge => Gauge::read(text).map(|_| Value::Text(text.to_owned())),
            Self::Version => Version::read(text).map(|_| Value::Text(text.to_owned())),
            Self::Lengths { .. } => Err(format!("put it in brackets: [\"{text}\"]")),
            Self::Whole { .. } | Self::Flag | Self::Words(_) | Self::Amount(_) => Err("leave out the quotes".into()),
        }
    }

    /// Checks a whole number.
    pub fn whole(&self, n: i64) -> Result<Value, String> {
        match *self {
            Self::Whole { least, most } if (least..=most).contains(&n) => Ok(Value::Whole(n)),
            Self::Whole { least, .. } if n < least => Err(format!("write {least} or more")),
            Self::Whole { most, .. } => Err(format!("write {most} or less")),
            Self::Length { .. } => Err(format!("write the unit, in quotes: \"{n}s\"")),
            Self::Amount(_) => self.number(n as f64),
            _ => Err("put it in quotes".into()),
        }
    }

    /// Checks a number that may have a fraction.
    pub fn number(&self, x: f64) -> Result<Value, String> {
        match *self {
            Self::Amount(dimension) => match dimension.units {
                [] => dimension.within(x).map(|x| Value::Amount(Amount(x))),
                [(unit, ..), ..] => Err(format!("write the unit, in quotes: \"{x} {unit}\"")),
            },
            Self::Whole { .. } => Err("write it without a fraction".into()),
            _ => Err("put it in quotes".into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TIME: Form = Form::Length { least: Micros::from_secs(1), most: Micros::from_secs(32 * 86_400) };

    #[test]
    fn lengths_of_time_read_as_the_trade_writes_them() {
        // Reporting times of EN 50136-1 reach from 20 s (SP6) to 32 d (SP1) [EN50136]; "25h" is a day's test with an hour's grace.
        for (text, secs) in [("25h", 90_000), ("1d", 86_400), ("32 days", 2_764_800), ("1h 30m", 5_400), ("PT5M", 300)]
        {
            assert_eq!(TIME.read(text), Ok(Value::Length(Micros::from_secs(secs))), "{text}");
        }
        for text in ["", "5", "fast", "-5s", "5s ago", "0s", "999ms", "33d", "1 month", "9999999999h", "\u{0}"] {
            assert!(TIME.read(text).is_err(), "{text}");
        }
    }

    #[test]
    fn addresses_that_are_no_hosts_are_refused() {
        // RFC 6890 tables 1-16, RFC 1112 section 4, RFC 4291 sections 2.5.2, 2.5.6, 2.7.
        let form = Form::AddressPort { port: 53 };
        for text in [
            "0.0.0.0",
            "::",
            "224.0.0.251",
            "ff02::1",
            "255.255.255.255",
            "0.1.2.3",
            "240.0.0.1",
            "fe80::1",
            "::ffff:224.0.0.1",
            "192.0.2.1:0",
            "192.0.2",
            "192.0.2.256",
            "one.example",
            "fe80::1%eth0",
            "[2001:db8::1]",
        ] {
            assert!(form.read(text).is_err(), "{text}");
        }
        for (text, address) in [
            ("192.0.2.53", "192.0.2.53:53"),
            ("192.0.2.53:5300", "192.0.2.53:5300"),
            ("2001:db8::53", "[2001:db8::53]:53"),
            ("[2001:db8::53]:5300", "[2001:db8::53]:5300"),
            ("::ffff:192.0.2.1", "192.0.2.1:53"),
            ("127.0.0.1:5300", "127.0.0.1:5300"),
        ] {
            assert_eq!(form.read(text), Ok(Value::Socket(address.parse().unwrap())), "{text}");
        }
    }

    #[test]
    fn hosts_are_names_or_addresses_and_nothing_else() {
        for text in ["a.example", "a-1.example.", "192.0.2.1", "2001:db8::1", "xn--bcher-kva.example", "3com.example"] {
            assert!(Form::Host.read(text).is_ok(), "{text}");
        }
        let long = format!("{}.example", "a".repeat(64));
        let longer = format!("{}example", "a.".repeat(130));
        for text in [
            "",
            ".",
            "a..example",
            "-a.example",
            "a_b.example",
            "a b.example",
            "b\u{fc}cher.example",
            "192.0.2.300",
            "https://a.example/",
            "a.example:9999",
            "192.0.2.1:9999",
            &long,
            &longer,
        ] {
            assert!(Form::Host.read(text).is_err(), "{text}");
        }
    }

    #[test]
    fn hardware_addresses_name_one_station() {
        assert_eq!(Form::HardwareAddress.read("02-00-5E-10-00-0a"), Ok(Value::Hardware([2, 0, 0x5e, 0x10, 0, 10])));
        for text in ["01:00:5e:00:00:01", "00:00:00:00:00:00", "ff:ff:ff:ff:ff:ff", "02:00:5e:10:00", "0200.5e10.0001"]
        {
            assert!(Form::HardwareAddress.read(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_slip_of_the_pen_is_recognised_and_nonsense_is_not() {
        let words = ["household", "small-business"];
        assert_eq!(nearest("houshold", words), Some("household"));
        assert_eq!(nearest("Small Business", words), Some("small-business"));
        assert_eq!(nearest("castle", words), None);
        assert_eq!(nearest("x", ["id", "port"]), None);
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(us in 1_i64..600_000_000_000_000_000) {
            // Up to 19 000 years: jiff's own range of hours ends a little beyond.
            let all = Form::Length { least: Micros(1), most: Micros(i64::MAX) };
            prop_assert_eq!(all.read(&written(Micros(us))), Ok(Value::Length(Micros(us))));
        }

        #[test]
        fn no_text_makes_a_form_panic(text in any::<String>()) {
            for section in super::super::keys::SECTIONS {
                for key in section.keys {
                    let _ = key.form.read(&text);
                }
            }
        }
    }
}
