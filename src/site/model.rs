//! What a sound site file says, typed.
//!
//! Built only from rows that passed `load`; it checks nothing again and fills nothing in: what the file left open stays
//! `None` until `resolve` settles it with what the host knows.

mod power;
mod row;

pub use power::Activation;
pub(super) use row::{Row, Rows};

use row::{each, of_word, single};

use super::plan::{
    Access, Asked, Background, Between, ControlPage, IdleTest, Receiver, Reference, Resolver, SiteKind, Transport, Use,
};
use super::signs::{Nut, PowerSources, Snmp};
use super::value::Value;
use crate::judge::{Micros, Planned, Recalled};
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
                unmonitored_hour: decision.whole("unmonitored_hour"),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::keys;
    use crate::worksheet::battery::Standby;
    use crate::worksheet::conductor::{Data, Terminal};
    use crate::worksheet::copper::Strand;
    use crate::worksheet::given::{GearKind, PoweredBy};
    use serde::de::DeserializeOwned;

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
