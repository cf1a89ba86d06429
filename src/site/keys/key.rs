//! What a section and a key of the site file are, the words and limits of the table, and what people write for a key.

use crate::judge::Micros;
use crate::site::cadence;
use crate::site::value::{self, Form};

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
/// The most pieces of network gear, backups, and devices on the panel.
pub const MOST_GEAR: usize = 16;
/// The most conductors in the run to the communicator.
pub const MOST_CONDUCTORS: usize = 8;
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
/// Words of `[[idle_test]] over`.
pub const OVER: &[&str] = &["tcp", "udp"];
/// Words of `[[gear]] powered_by`.
pub const POWERED_BY: &[&str] = &["wall", "backup", "switched-outlet", "unknown"];
/// Words of `[[gear]] kind`.
pub const GEAR_KINDS: &[&str] = &[
    "cable-modem",
    "dsl-modem",
    "optical-terminal",
    "cable-gateway",
    "dsl-gateway",
    "router",
    "access-point",
    "switch",
    "bridge",
    "agent",
    "unknown",
];
/// Words of `[panel] standby`.
pub const STANDBYS: &[&str] = &[
    "us-household",
    "en-grade-1-2",
    "en-grade-3-4",
    "en-grade-3-4-reported",
    "pd6662-grade-3-4",
    "pd6662-grade-3-4-reported",
];
/// Words of `[wiring] strand`.
pub const STRANDS: &[&str] = &["solid", "stranded"];
/// Words of `[wiring] data`.
pub const DATA: &[&str] = &["crossed", "straight"];
/// Words of both ends of a `[[conductor]]`.
pub const TERMINALS: &[&str] = &["positive", "negative", "data-in", "data-out"];

pub(super) const NAME: Form = Form::Label { longest: 40 };
pub(super) const fn every(least: Micros) -> Form {
    Form::Length { least, most: cadence::CEILING }
}

/// What people write for a key: section, key, their words.
pub(super) const SAID_FOR: &[(&str, &str, &[&str])] = &[
    ("receiver", "host", &["address", "ip", "ip_address", "hostname", "server"]),
    ("receiver", "transport", &["protocol"]),
    ("reference", "address", &["host", "ip", "ip_address", "hostname", "server"]),
    ("resolver", "address", &["host", "ip", "ip_address", "hostname", "server"]),
    ("planned", "from", &["start", "begin"]),
    ("planned", "to", &["end", "until"]),
    ("panel", "communicator_mac", &["hardware_address"]),
    ("power", "nut", &["nut_server", "nut_host"]),
];

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
