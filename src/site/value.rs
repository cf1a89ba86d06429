//! One value of the site file: read, and checked against its form.
//!
//! Decides what each form accepts and, where it refuses, what to write instead. Addresses are refused by the registries
//! of RFC 6890 (unspecified, multicast, broadcast, "this network"); host names by RFC 1123 section 2.1 and the lengths
//! of RFC 1035 section 2.3.4; hardware addresses by the group bit of IEEE 802.

use super::plan::Host;
use crate::judge::{Micros, WallTime};
use crate::worksheet::copper::Gauge;
use crate::worksheet::firmware::Version;
use crate::worksheet::units::Dimension;
use jiff::{Span, SpanRelativeTo, Timestamp};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

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
            Self::Label { longest } => label(text, longest),
            Self::Id { longest } => id(text, longest),
            Self::Interface => interface(text),
            Self::File => file(text),
            Self::Host => host(text).map(Value::Host),
            Self::Name => name(text).map(Value::Text),
            Self::AddressPort { port } => address_port(text, port).map(Value::Socket),
            Self::Page => page(text),
            Self::Length { least, most } => length(text, least, most),
            Self::Word(words) => word(text, words).map(Value::Text),
            Self::WordOrFile(words) => word_or_file(text, words),
            Self::Time => time(text),
            Self::HardwareAddress => hardware(text),
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
}

impl Form {
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

/// The nearest of some words, if any is near enough to have been meant.
pub fn nearest<'a>(text: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let text: String = text.chars().take(64).collect::<String>().to_lowercase().replace([' ', '_'], "-");
    words
        .into_iter()
        .map(|w| (strsim::damerau_levenshtein(&text, &w.replace('_', "-")), w))
        .filter(|&(far, w)| far <= 1 + w.len() / 4 && far < w.len())
        .min_by_key(|&(far, _)| far)
        .map(|(_, w)| w)
}

/// Words as a list to read: `a, b or c`.
pub fn list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

fn label(text: &str, longest: usize) -> Result<Value, String> {
    if text.trim().is_empty() {
        return Err("give it a name".into());
    }
    if text != text.trim() {
        return Err("leave out the spaces at the ends".into());
    }
    if text.chars().count() > longest {
        return Err(format!("shorten it to {longest} characters"));
    }
    match text.chars().find(|c| !c.is_alphanumeric() && !" -_.:/()".contains(*c)) {
        Some(c) => Err(format!("leave out the {}", spell(c))),
        None => Ok(Value::Text(text.to_owned())),
    }
}

fn id(text: &str, longest: usize) -> Result<Value, String> {
    if text.is_empty() {
        return Err("give the site a mark of its own, or leave the key out".into());
    }
    if text.len() > longest {
        return Err(format!("shorten it to {longest} characters"));
    }
    match text.chars().find(|c| !c.is_ascii_alphanumeric() && !"-_.".contains(*c)) {
        Some(c) => Err(format!("leave out the {}", spell(c))),
        None => Ok(Value::Text(text.to_owned())),
    }
}

/// The kernel's own rule (`dev_valid_name`): 1 to 15 bytes, not `.` or `..`, no slash, colon or space.
fn interface(text: &str) -> Result<Value, String> {
    let fits = (1..=15).contains(&text.len()) && text != "." && text != "..";
    if fits && text.chars().all(|c| c.is_ascii_graphic() && c != '/' && c != ':') {
        Ok(Value::Text(text.to_owned()))
    } else {
        Err("write it as `ip link` shows it, or leave the key out".into())
    }
}

/// A path of at most `PATH_MAX` bytes with its NUL (`limits.h` of Linux). Whether the file is there is for the probe to see.
fn file(text: &str) -> Result<Value, String> {
    if !text.starts_with('/') {
        return Err("write the whole path, from \"/\"".into());
    }
    if text.len() > 4_095 || text.ends_with('/') || text.chars().any(char::is_control) {
        return Err("write the path of one file".into());
    }
    Ok(Value::Text(text.to_owned()))
}

/// The origin form of a request target (RFC 9112 section 3.2.1): visible ASCII, so nothing can break the request's line.
fn page(text: &str) -> Result<Value, String> {
    if !text.starts_with('/') {
        return Err("write what follows the host's name, from \"/\"".into());
    }
    match text.chars().find(|c| !c.is_ascii_graphic() || "\"#<>\\^`{|}".contains(*c)) {
        Some(c) => Err(format!("write the {} in its \"%\" form (RFC 3986)", spell(c))),
        None if text.len() > 200 => Err("shorten it to 200 characters".into()),
        None => Ok(Value::Text(text.to_owned())),
    }
}

fn host(text: &str) -> Result<Host, String> {
    if let Ok(address) = text.parse::<IpAddr>() {
        return reachable(address).map(Host::Address);
    }
    if let Ok(socket) = text.parse::<SocketAddr>() {
        return Err(format!("write host = \"{}\" and port = {}", socket.ip(), socket.port()));
    }
    if text.contains("://") {
        return Err("write only the host's name, without what stands before and after it".into());
    }
    if let Some((left, right)) = text.rsplit_once(':')
        && let Ok(port) = right.parse::<u16>()
        && let Ok(left) = name(left)
    {
        return Err(format!("write host = \"{left}\" and port = {port}"));
    }
    name(text).map(Host::Name)
}

fn name(text: &str) -> Result<String, String> {
    let bare = text.strip_suffix('.').unwrap_or(text);
    if bare.is_empty() {
        return Err("write a name, for example \"receiver.station.example\"".into());
    }
    if !bare.is_ascii() {
        return Err("write a name outside ASCII in its \"xn--\" form (RFC 5890)".into());
    }
    if bare.len() > 253 {
        return Err("a name has at most 253 characters (RFC 1035)".into());
    }
    for part in bare.split('.') {
        if part.is_empty() {
            return Err("leave out the empty part between two dots".into());
        }
        if part.len() > 63 {
            return Err("a part between dots has at most 63 characters (RFC 1035)".into());
        }
        if part.starts_with('-') || part.ends_with('-') {
            return Err("a part between dots can't begin or end with \"-\" (RFC 1123)".into());
        }
        if let Some(c) = part.chars().find(|c| !c.is_ascii_alphanumeric() && *c != '-') {
            return Err(format!("leave out the {}: a name has letters, digits, \"-\" and dots (RFC 1123)", spell(c)));
        }
    }
    // RFC 1123 section 2.1: the last part of a name is never all digits, so that addresses can be told from names.
    if bare.rsplit('.').next().is_some_and(|last| last.bytes().all(|b| b.is_ascii_digit())) {
        return Err("an IPv4 address has four numbers from 0 to 255".into());
    }
    Ok(text.to_owned())
}

fn address_port(text: &str, port: u16) -> Result<SocketAddr, String> {
    let address = match (text.parse::<SocketAddr>(), text.parse::<IpAddr>()) {
        (Ok(socket), _) => socket,
        (_, Ok(ip)) => SocketAddr::new(ip, port),
        _ => return Err(not_an_address(text)),
    };
    if address.port() == 0 {
        return Err(format!("write a port from 1 to 65535, or leave it out for {port}"));
    }
    reachable(address.ip()).map(|ip| SocketAddr::new(ip, address.port()))
}

fn not_an_address(text: &str) -> String {
    if text.contains('%') {
        return "leave out the \"%\" and what follows; name an address that needs no interface".into();
    }
    if name(text).is_ok() {
        return "write the address itself: a name would make this question depend on the resolvers".into();
    }
    "for example \"192.0.2.53\", \"192.0.2.53:5300\", \"2001:db8::53\" or \"[2001:db8::53]:5300\"".into()
}

/// Refuses what can't be one host's address (RFC 6890 and RFC 4291).
fn reachable(address: IpAddr) -> Result<IpAddr, String> {
    let address = address.to_canonical();
    let why = match address {
        ip if ip.is_unspecified() => "this is no host's address; write the host's own",
        ip if ip.is_multicast() => "this is a multicast address; write the address of one host",
        IpAddr::V4(Ipv4Addr::BROADCAST) => "this is the broadcast address; write the address of one host",
        IpAddr::V4(ip) if ip.octets()[0] == 0 => "0.0.0.0/8 means \"this network\"; write the host's own address",
        IpAddr::V4(ip) if ip.octets()[0] >= 240 => "240.0.0.0/4 is reserved; write the host's own address",
        IpAddr::V6(ip) if ip.is_unicast_link_local() => "a link-local address needs an interface; write another",
        ip => return Ok(ip),
    };
    Err(why.into())
}

fn length(text: &str, least: Micros, most: Micros) -> Result<Value, String> {
    let hint = || "write a number with its unit: \"500ms\", \"2s\", \"5m\", \"25h\", \"30d\"".to_owned();
    let span: Span = text.parse().map_err(|_| hint())?;
    let long = span.to_duration(SpanRelativeTo::days_are_24_hours()).map_err(|_| hint())?;
    let micros = Micros(i64::try_from(long.as_micros()).unwrap_or(i64::MAX));
    if micros < least {
        Err(format!("write \"{}\" or longer", written(least)))
    } else if micros > most {
        Err(format!("write \"{}\" or shorter", written(most)))
    } else {
        Ok(Value::Length(micros))
    }
}

/// Lengths in order, none twice.
pub fn lengths(texts: &[&str], least: Micros, most: Micros) -> Result<Value, String> {
    let mut out: Vec<Micros> = Vec::with_capacity(texts.len());
    for text in texts {
        let Value::Length(one) = length(text, least, most)? else { continue };
        if out.last().is_some_and(|before| *before >= one) {
            return Err(format!("write them in order, each longer than the one before: \"{text}\" is not"));
        }
        out.push(one);
    }
    if out.is_empty() { Err("name at least one, or leave the key out".into()) } else { Ok(Value::Lengths(out)) }
}

fn word_or_file(text: &str, words: &[&str]) -> Result<Value, String> {
    if !super::requirements::is_file(text) {
        return word(text, words).map(Value::Text);
    }
    if text.len() > 4_095 || text.chars().any(char::is_control) {
        return Err("write the name of one file".into());
    }
    Ok(Value::Text(text.to_owned()))
}

fn time(text: &str) -> Result<Value, String> {
    let at: Timestamp =
        text.parse().map_err(|_| "write it as \"2026-03-10T09:00:00Z\" or with an offset, +01:00".to_owned())?;
    Ok(Value::Time(WallTime(at.as_microsecond())))
}

/// A length as a site file writes it, in the largest unit that divides it.
pub fn written(length: Micros) -> String {
    let Micros(us) = length;
    for (unit, name) in
        [(86_400_000_000, "d"), (3_600_000_000, "h"), (60_000_000, "m"), (1_000_000, "s"), (1_000, "ms")]
    {
        if us != 0 && us % unit == 0 {
            return format!("{}{name}", us / unit);
        }
    }
    format!("{us}us")
}

/// Checks one word against its list.
pub fn word(text: &str, words: &[&str]) -> Result<String, String> {
    if words.contains(&text) {
        return Ok(text.to_owned());
    }
    match nearest(text, words.iter().copied()) {
        Some(meant) => Err(format!("did you mean \"{meant}\"?")),
        None => Err(format!("write \"{}\"", words.join("\" or \""))),
    }
}

fn hardware(text: &str) -> Result<Value, String> {
    let hint = || "write it as on its label: \"02:00:5e:10:00:01\"".to_owned();
    let separator = if text.contains('-') { '-' } else { ':' };
    let mut octets = [0; 6];
    let mut parts = text.split(separator);
    for octet in &mut octets {
        let part = parts.next().filter(|p| p.len() == 2 && p.bytes().all(|b| b.is_ascii_hexdigit()));
        *octet = part.and_then(|p| u8::from_str_radix(p, 16).ok()).ok_or_else(hint)?;
    }
    if parts.next().is_some() {
        return Err(hint());
    }
    if octets == [0; 6] || octets[0] & 1 == 1 {
        return Err("this address belongs to no single station; write the communicator's own".into());
    }
    Ok(Value::Hardware(octets))
}

/// A character as it can be said in a message.
fn spell(c: char) -> String {
    match c {
        ' ' => "space".into(),
        c if c.is_ascii_graphic() => format!("\"{c}\""),
        c => format!("character U+{:04X}", u32::from(c)),
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
