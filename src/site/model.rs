//! What a sound site file says, typed.
//!
//! Built only from rows that passed `load`; it checks nothing again and fills nothing in: what the file left open stays
//! `None` until `resolve` settles it with what the host knows.

mod power;

use super::load;
use super::plan::{
    Access, Asked, Background, Between, ControlPage, Host, IdleTest, Receiver, Reference, Resolver, SiteKind,
    Transport, Use,
};
use super::signs::{Nut, PowerSources, Snmp};
use super::value::Value;
use crate::judge::{Micros, Planned, Recalled, WallTime};
use serde::de::value::{Error as NoSuchWord, StrDeserializer};
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::ops::Range;
use std::path::PathBuf;

/// What a site file says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SiteFile {
    /// The site's own mark.
    pub id: String,
    /// What the site is.
    pub kind: SiteKind,
    /// The interface to look through, where the file names one.
    pub interface: Option<String>,
    /// A lease file to read besides the usual places.
    pub lease_file: Option<PathBuf>,
    /// Name of the requirement set.
    pub requirements: String,
    /// The station's supervision interval.
    pub supervision: Option<Micros>,
    /// What the alarm system is used for.
    pub uses: Vec<Use>,
    /// Receivers.
    pub receivers: Vec<Receiver>,
    /// Reference points; empty: the built-in ones.
    pub references: Vec<Reference>,
    /// Resolvers; empty: the host's.
    pub resolvers: Vec<Resolver>,
    /// A name known to exist.
    pub existing_name: String,
    /// How often, where the file says.
    pub cadence: Wishes,
    /// Whom to ask of the mains and of the router's life.
    pub power: PowerSources,
    /// What is asked about what lies between.
    pub between: Between,
    /// What no probe can find out.
    pub background: Background,
    /// What activates the communicator. Part of no plan, so that no record keeps it.
    pub activation: Activation,
}

/// What activates the communicator, as entered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Activation {
    /// Its serial number.
    pub serial: Option<String>,
    /// Its activation code.
    pub code: Option<String>,
}

/// The cadence a site file asks for; `None`: the default of the mode.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wishes {
    /// Link and kernel addresses.
    pub local: Option<Micros>,
    /// Gateway.
    pub router: Option<Micros>,
    /// Each resolver.
    pub names: Option<Micros>,
    /// Each reference point.
    pub outside: Option<Micros>,
    /// Each receiver.
    pub receiver: Option<Micros>,
    /// A round of discover and conflict probe.
    pub offers: Option<Micros>,
    /// Mains.
    pub mains: Option<Micros>,
    /// The slower signs of lost power.
    pub signs: Option<Micros>,
}

impl Default for SiteFile {
    /// What an empty file says.
    fn default() -> Self {
        load::load("", b"").expect("an empty file is sound: its defaults pass their own forms")
    }
}

/// Sections by name, each with its entries.
pub(super) type Rows = BTreeMap<&'static str, Vec<Row>>;

/// The checked values of one section, each with its place in the file.
#[derive(Debug, Default)]
pub(super) struct Row {
    pub(super) values: BTreeMap<&'static str, (Value, Range<usize>)>,
    /// Keys whose values did not pass.
    pub(super) refused: Vec<&'static str>,
}

impl Row {
    /// Whether the file gave it, in a sound form or not.
    pub(super) fn has(&self, key: &str) -> bool {
        self.values.contains_key(key) || self.refused.contains(&key)
    }

    /// The values under these keys, if all are there: what two entries must not share.
    pub(super) fn mark<'r>(&'r self, keys: &[&str]) -> Option<Vec<&'r Value>> {
        keys.iter().map(|k| self.values.get(*k).map(|(v, _)| v)).collect()
    }

    fn take(&mut self, key: &'static str) -> Option<Value> {
        self.values.remove(key).map(|(v, _)| v)
    }

    fn text(&mut self, key: &'static str) -> Option<String> {
        match self.take(key)? {
            Value::Text(t) => Some(t),
            other => unreachable!("{key} passed a form of text, yet it is {other:?}"),
        }
    }

    fn needed_text(&mut self, key: &'static str) -> String {
        self.text(key).expect("load refuses a section without it, or gives its default")
    }

    fn word<T: DeserializeOwned>(&mut self, key: &'static str) -> T {
        of_word(&self.needed_text(key))
    }

    fn length(&mut self, key: &'static str) -> Option<Micros> {
        match self.take(key)? {
            Value::Length(l) => Some(l),
            other => unreachable!("{key} passed a form of length, yet it is {other:?}"),
        }
    }

    fn whole(&mut self, key: &'static str) -> Option<u32> {
        match self.take(key)? {
            Value::Whole(n) => Some(u32::try_from(n).expect("the table of keys keeps whole numbers within u32")),
            other => unreachable!("{key} passed a form of whole number, yet it is {other:?}"),
        }
    }

    fn needed_length(&mut self, key: &'static str) -> Micros {
        self.length(key).expect("it has a default in the table of keys")
    }

    fn port(&mut self, key: &'static str) -> u16 {
        self.whole(key).and_then(|p| u16::try_from(p).ok()).expect("load keeps ports within u16 and gives or wants one")
    }

    fn lengths(&mut self, key: &'static str) -> Option<Vec<Micros>> {
        match self.take(key)? {
            Value::Lengths(l) => Some(l),
            other => unreachable!("{key} passed a form of lengths, yet it is {other:?}"),
        }
    }

    fn time(&mut self, key: &'static str) -> WallTime {
        match self.take(key) {
            Some(Value::Time(t)) => t,
            other => unreachable!("{key} is refused when missing and passed a form of time, yet it is {other:?}"),
        }
    }

    fn flag(&mut self, key: &'static str) -> Option<bool> {
        match self.take(key)? {
            Value::Flag(b) => Some(b),
            other => unreachable!("{key} passed a form of flag, yet it is {other:?}"),
        }
    }

    fn socket(&mut self, key: &'static str) -> SocketAddr {
        match self.take(key) {
            Some(Value::Socket(a)) => a,
            other => unreachable!("{key} is refused when missing and passed a form of address, yet it is {other:?}"),
        }
    }

    fn address(&mut self, key: &'static str) -> Option<SocketAddr> {
        self.values.contains_key(key).then(|| self.socket(key))
    }

    fn host(&mut self, key: &'static str) -> Host {
        match self.take(key) {
            Some(Value::Host(h)) => h,
            other => unreachable!("{key} is refused when missing and passed a form of host, yet it is {other:?}"),
        }
    }

    /// Every key of the table must have been read by now: one that was not would be ignored in silence.
    fn finish(self) {
        debug_assert!(self.values.is_empty(), "keys that load knows and the model does not read: {:?}", self.values);
    }
}

impl SiteFile {
    /// Builds the model from rows without problems.
    pub(super) fn from_rows(mut rows: Rows) -> Self {
        let mut site = single(&mut rows, "site");
        let mut names = single(&mut rows, "names");
        let mut cadence = single(&mut rows, "cadence");
        let mut sources = single(&mut rows, "power");
        let (unit, community) = (sources.needed_text("nut_unit"), sources.needed_text("snmp_community"));
        let mut signalling = single(&mut rows, "signalling");
        let mut recalled = single(&mut rows, "recalled");
        let worst = recalled.length("worst");
        let mut decision = single(&mut rows, "decision");
        let mut file = Self {
            id: site.needed_text("id"),
            kind: site.word("kind"),
            interface: site.text("interface"),
            lease_file: site.text("lease_file").map(PathBuf::from),
            requirements: site.needed_text("requirements"),
            supervision: site.length("supervision"),
            uses: match site.take("uses") {
                Some(Value::Words(words)) => words.iter().map(|w| of_word(w)).collect(),
                other => unreachable!("uses has a default and passed a form of words, yet it is {other:?}"),
            },
            receivers: each(&mut rows, "receiver", |r| Receiver {
                name: r.needed_text("name").into(),
                host: r.host("host"),
                port: r.port("port"),
                transport: r.word::<Transport>("transport"),
            }),
            references: each(&mut rows, "reference", |r| Reference {
                name: r.needed_text("name").into(),
                address: r.socket("address"),
                builtin: false,
            }),
            resolvers: each(&mut rows, "resolver", |r| Resolver::at(r.socket("address"))),
            existing_name: names.needed_text("existing"),
            cadence: Wishes {
                local: cadence.length("local"),
                router: cadence.length("router"),
                names: cadence.length("names"),
                outside: cadence.length("outside"),
                receiver: cadence.length("receiver"),
                offers: cadence.length("offers"),
                mains: cadence.length("mains"),
                signs: cadence.length("signs"),
            },
            power: PowerSources {
                nut: sources.address("nut").map(|server| Nut { unit, server }),
                ask_router: sources.flag("ask_router").expect("it has a default"),
                snmp: sources.address("snmp").map(|agent| Snmp { agent, community }),
            },
            between: between(&mut rows),
            background: Background {
                access: site.word::<Access>("access"),
                recalled: recalled.whole("outages_last_year").map(|last_year| Recalled { last_year, worst }),
                caution: decision.whole("caution"),
                retries: signalling.lengths("retries"),
                within: signalling.length("within"),
                planned: each(&mut rows, "planned", |r| Planned {
                    from: r.time("from"),
                    to: r.time("to"),
                    what: r.needed_text("what"),
                }),
                ..Background::default()
            },
            activation: Activation::default(),
        };
        file.activation = power::read(&mut rows, &mut file.background);
        for row in [site, names, cadence, sources, signalling, recalled, decision] {
            row.finish();
        }
        debug_assert!(rows.is_empty(), "sections that load knows and the model does not read: {rows:?}");
        file
    }
}

fn between(rows: &mut Rows) -> Between {
    let asked = |r: &mut Row| Asked {
        name: r.needed_text("name").into(),
        host: r.host("host"),
        port: r.port("port"),
        every: r.needed_length("every"),
    };
    Between {
        idle_tests: each(rows, "idle_test", |r| IdleTest {
            at: asked(r),
            over: r.word("over"),
            longest: r.needed_length("longest"),
        }),
        stun_servers: each(rows, "stun_server", asked),
        control_pages: each(rows, "control_page", |r| ControlPage {
            at: asked(r),
            path: r.needed_text("path"),
            status: r.whole("status").and_then(|s| u16::try_from(s).ok()).expect("load keeps a status within u16"),
            body: r.text("body"),
        }),
        time_sources: each(rows, "time_source", asked),
        ..Between::default()
    }
}

fn single(rows: &mut Rows, section: &'static str) -> Row {
    rows.remove(section).and_then(|mut r| r.pop()).expect("load gives every single section one row")
}

fn each<T>(rows: &mut Rows, section: &'static str, mut read: impl FnMut(&mut Row) -> T) -> Vec<T> {
    let rows = rows.remove(section).unwrap_or_default();
    rows.into_iter()
        .map(|mut row| {
            let made = read(&mut row);
            row.finish();
            made
        })
        .collect()
}

/// The value a word of the table stands for, by the same names that reports and records use.
fn of_word<T: DeserializeOwned>(word: &str) -> T {
    let word: StrDeserializer<'_, NoSuchWord> = word.into_deserializer();
    T::deserialize(word).expect("every word of the table of keys names a value; a test walks them")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::keys;
    use crate::worksheet::battery::Standby;
    use crate::worksheet::conductor::{Data, Terminal};
    use crate::worksheet::copper::Strand;
    use crate::worksheet::given::{GearKind, PoweredBy};

    #[test]
    fn every_word_of_the_table_names_a_value() {
        fn all<T: DeserializeOwned + serde::Serialize>(words: &[&str]) {
            for word in words {
                assert_eq!(serde_json::to_value(of_word::<T>(word)).unwrap(), *word);
            }
        }
        all::<SiteKind>(keys::KINDS);
        all::<Access>(keys::ACCESSES);
        all::<Use>(keys::USES);
        all::<Transport>(keys::TRANSPORTS);
        all::<crate::judge::Transport>(keys::OVER);
        all::<PoweredBy>(keys::POWERED_BY);
        all::<GearKind>(keys::GEAR_KINDS);
        all::<Standby>(keys::STANDBYS);
        all::<Strand>(keys::STRANDS);
        all::<Data>(keys::DATA);
        all::<Terminal>(keys::TERMINALS);
    }

    #[test]
    fn an_empty_file_says_a_household_with_nothing_named() {
        let f = SiteFile::default();
        assert_eq!((f.id.as_str(), f.kind, f.requirements.as_str()), ("site", SiteKind::Household, "household"));
        assert_eq!((f.uses.as_slice(), f.existing_name.as_str()), (&[Use::Burglary][..], "example.com."));
        assert!(f.receivers.is_empty() && f.references.is_empty() && f.resolvers.is_empty());
        assert_eq!((f.supervision, f.cadence, f.background), (None, Wishes::default(), Background::default()));
    }
}
