//! From the site file and what the host knows to the plan, with notes of everything assumed.
//!
//! Decides every value the file left open: the host's own interface and resolvers, the built-in reference points, the
//! survey's rhythm. Opens nothing and sends nothing. The root service addresses are those of the IANA root hints
//! (<https://www.iana.org/domains/root/files>, zone serial 2024041801); a test compares them with a copy.

use super::host::{HostFacts, ResolverSource};
use super::keys::MOST_TARGETS;
use super::model::SiteFile;
use super::plan::{Cadence, Plan, Reference, Resolver, Signs, SiteKind};
use super::{cadence, value};
use crate::judge::Mac;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// A plan, and what was assumed to make it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settled {
    /// Every value settled.
    pub plan: Plan,
    /// What was assumed, a sentence each. May hold text of the site file or the host: escape where shown.
    pub notes: Vec<String>,
}

/// The root service addresses asked where the site file names no reference points: four letters that, to the best of
/// our memory of root-servers.org, are run by four organisations with nothing in common but the zone.
pub const ROOT_SERVICE: [(&str, Ipv4Addr, Ipv6Addr); 4] = [
    ("f.root-servers.net", Ipv4Addr::new(192, 5, 5, 241), Ipv6Addr::new(0x2001, 0x500, 0x2f, 0, 0, 0, 0, 0xf)),
    ("i.root-servers.net", Ipv4Addr::new(192, 36, 148, 17), Ipv6Addr::new(0x2001, 0x7fe, 0, 0, 0, 0, 0, 0x53)),
    ("k.root-servers.net", Ipv4Addr::new(193, 0, 14, 129), Ipv6Addr::new(0x2001, 0x7fd, 0, 0, 0, 0, 0, 1)),
    ("m.root-servers.net", Ipv4Addr::new(202, 12, 27, 33), Ipv6Addr::new(0x2001, 0xdc3, 0, 0, 0, 0, 0, 0x35)),
];

/// Fewer reference points than this can't tell one host's trouble from the internet's.
const ENOUGH_REFERENCES: usize = 3;

/// Settles every value, for a usual.
pub fn resolve(file: &SiteFile, host: &HostFacts) -> Settled {
    resolve_at(file, host, &cadence::SURVEYING)
}

/// Settles every value; what the site file does not say of the rhythm is this one's.
pub fn resolve_at(file: &SiteFile, host: &HostFacts, rhythm: &cadence::Rhythm) -> Settled {
    let mut notes = Vec::new();
    let interface = interface(file, host, &mut notes);
    let resolvers = resolvers(file, host, &mut notes);
    let references = references(file, host, &mut notes);
    let wish = file.cadence;
    let usual = rhythm.cadence;
    let outside_floor =
        if file.references.is_empty() { cadence::FLOOR_OUTSIDE_BUILTIN } else { cadence::FLOOR_OUTSIDE };
    let cadence = Cadence {
        local: wish.local.unwrap_or(usual.local).max(cadence::FLOOR_LOCAL),
        router: wish.router.unwrap_or(usual.router).max(cadence::FLOOR_ROUTER),
        names: wish.names.unwrap_or(usual.names).max(cadence::FLOOR_NAMES),
        outside: wish.outside.unwrap_or(usual.outside).max(outside_floor),
        receiver: wish.receiver.unwrap_or(usual.receiver).max(cadence::FLOOR_RECEIVER),
        offers: wish.offers.unwrap_or(usual.offers).max(cadence::FLOOR_OFFERS),
    };
    if file.receivers.is_empty() {
        notes.push("No receiver is named: nothing can be said of the station's end of the path.".into());
    }
    if file.supervision.is_none() {
        notes.push(
            "The station's supervision interval is not known: whether it would have noticed an outage stays open."
                .into(),
        );
    }
    if file.kind == SiteKind::SmallBusiness && file.requirements == "household" {
        notes.push(
            "A small business, judged by the household requirement set: the site file may name small-business.".into(),
        );
    }
    if !file.uses.iter().all(|u| u.in_scope()) {
        notes.push(
            "Fire, CO, medical or hold-up signalling is out of scope: the authority having jurisdiction decides."
                .into(),
        );
    }
    let signs = signs(file, interface.is_some(), rhythm);
    let plan = Plan {
        site: file.id.clone(),
        kind: file.kind,
        interface,
        lease_file: file.lease_file.clone(),
        resolvers,
        existing_name: file.existing_name.clone(),
        references,
        receivers: file.receivers.clone(),
        cadence,
        between: file.between.clone(),
        patience: cadence::PATIENCE,
        supervision: file.supervision,
        requirements: file.requirements.clone(),
        uses: file.uses.clone(),
        background: file.background.clone(),
        signs,
        practice: false,
        loopback: false,
    };
    Settled { plan, notes }
}

fn interface(file: &SiteFile, host: &HostFacts, notes: &mut Vec<String>) -> Option<String> {
    match (&file.interface, &host.default_interface) {
        (Some(named), held) => {
            if !host.interfaces.is_empty() && !host.interfaces.contains(named) {
                notes.push(format!("Interface {named} is not on this host now; its lanes are blind until it comes."));
            } else if held.as_ref().is_some_and(|h| h != named) {
                let held = held.as_deref().unwrap_or_default();
                notes.push(format!("Interface {named} is named, but the default route goes through {held}."));
            }
            Some(named.clone())
        }
        (None, Some(held)) => {
            notes.push(format!("Interface {held}: it holds the default route."));
            Some(held.clone())
        }
        (None, None) => {
            notes.push(
                "No interface is named and none holds a default route: the link, address and router lanes are blind."
                    .into(),
            );
            None
        }
    }
}

fn resolvers(file: &SiteFile, host: &HostFacts, notes: &mut Vec<String>) -> Vec<Resolver> {
    let resolvers = if file.resolvers.is_empty() {
        let found: Vec<Resolver> =
            host.resolvers.iter().take(MOST_TARGETS).map(|ip| Resolver::at(SocketAddr::new(*ip, 53))).collect();
        match (host.resolver_source, found.is_empty()) {
            (_, true) | (ResolverSource::None, _) => {
                notes.push("No resolver is named and the host has none: the names lane is blind.".into());
            }
            (ResolverSource::Lease, _) => notes.push("Resolvers are those of the lease.".into()),
            (ResolverSource::ResolvConf, _) => notes.push("Resolvers are those of /etc/resolv.conf.".into()),
        }
        found
    } else {
        file.resolvers.clone()
    };
    for stub in resolvers.iter().filter(|r| r.address.ip().is_loopback()) {
        notes.push(format!(
            "Resolver {} is on this host and may answer from memory: it says less of the line than one beyond it.",
            stub.name
        ));
    }
    resolvers
}

fn references(file: &SiteFile, host: &HostFacts, notes: &mut Vec<String>) -> Vec<Reference> {
    if file.references.is_empty() {
        let letters: Vec<&str> = ROOT_SERVICE.iter().map(|(name, ..)| *name).collect();
        notes.push(format!(
            "No reference points are named: the DNS root service is asked at {}, each not oftener than every {}.",
            value::list(&letters).replace(" or ", " and "),
            cadence::FLOOR_OUTSIDE_BUILTIN
        ));
        // A host with only an IPv6 default route reaches them by IPv6.
        let six = host.gateway.is_some_and(|g| g.is_ipv6());
        return ROOT_SERVICE
            .iter()
            .map(|&(name, v4, v6)| Reference {
                name: name.into(),
                address: SocketAddr::new(if six { v6.into() } else { v4.into() }, 53),
                builtin: true,
            })
            .collect();
    }
    if file.references.len() < ENOUGH_REFERENCES {
        notes.push(format!(
            "Only {} reference point{}: with fewer than {ENOUGH_REFERENCES}, one host's trouble can look like the \
             internet's.",
            file.references.len(),
            if file.references.len() == 1 { " is named" } else { "s are named" }
        ));
    }
    for near in file.references.iter().filter(|r| is_near(r.address.ip())) {
        notes.push(format!(
            "Reference point {} has an address of private or local use: it may say nothing of the internet.",
            near.name
        ));
    }
    file.references.clone()
}

/// Loopback, RFC 1918, RFC 3927 and RFC 4193 addresses.
fn is_near(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => ip.is_loopback() || ip.is_private() || ip.is_link_local(),
        IpAddr::V6(ip) => ip.is_loopback() || ip.is_unique_local(),
    }
}

/// Everything the site file allows, on a host with such an interface or none.
fn signs(file: &SiteFile, has_interface: bool, rhythm: &cadence::Rhythm) -> Signs {
    Signs {
        own_supply: true,
        nut: file.power.nut.clone(),
        upnp: file.power.ask_router && has_interface,
        snmp: file.power.snmp.clone(),
        kernel_tables: has_interface,
        communicator: file.background.panel.communicator_mac.map(Mac).filter(|_| has_interface),
        mains_every: file.cadence.mains.unwrap_or(rhythm.mains).max(cadence::FLOOR_MAINS),
        signs_every: file.cadence.signs.unwrap_or(rhythm.signs).max(cadence::FLOOR_SIGNS),
    }
}

#[cfg(test)]
mod tests {
    use super::super::load;
    use super::*;
    use crate::judge::Micros;

    fn host() -> HostFacts {
        HostFacts {
            interfaces: vec!["eth0".into(), "lo".into(), "wlan0".into()],
            default_interface: Some("eth0".into()),
            gateway: Some(Ipv4Addr::new(192, 0, 2, 1).into()),
            resolvers: vec![Ipv4Addr::new(127, 0, 0, 53).into()],
            resolver_source: ResolverSource::ResolvConf,
        }
    }

    fn settled(text: &str) -> Settled {
        resolve(&load("t", text.as_bytes()).unwrap(), &host())
    }

    #[test]
    fn root_addresses_are_those_of_the_iana_root_hints() {
        // tests/site/root-hints.txt [IANAROOT24]: the A and AAAA lines of IANA's named.root, zone serial 2024041801, as packaged in
        // Debian's dns-root-data 2024071801.
        let hints = include_str!("../../tests/site/root-hints.txt");
        let has = |name: &str, kind: &str, address: IpAddr| {
            hints.lines().any(|l| {
                let f: Vec<&str> = l.split_whitespace().collect();
                f.len() == 4
                    && f[0].eq_ignore_ascii_case(&format!("{name}."))
                    && f[2] == kind
                    && f[3].parse() == Ok(address)
            })
        };
        for (name, v4, v6) in ROOT_SERVICE {
            assert!(has(name, "A", v4.into()) && has(name, "AAAA", v6.into()), "{name}");
        }
        assert!(!has("f.root-servers.net", "A", Ipv4Addr::new(192, 0, 2, 1).into()));
    }

    #[test]
    fn an_empty_file_on_a_plain_host_gives_a_whole_plan_and_says_what_it_assumed() {
        let Settled { plan, notes } = settled("");
        assert_eq!(plan.interface.as_deref(), Some("eth0"));
        assert_eq!(plan.resolvers, [Resolver::at("127.0.0.53:53".parse().unwrap())]);
        assert_eq!(&*plan.resolvers[0].name, "127.0.0.53");
        assert!(plan.references.len() == 4 && plan.references.iter().all(|r| r.builtin && r.address.is_ipv4()));
        assert_eq!((plan.cadence, plan.patience), (cadence::SURVEY, Micros::from_millis(1_800)));
        for said in
            ["eth0", "/etc/resolv.conf", "127.0.0.53", "k.root-servers.net", "No receiver", "supervision interval"]
        {
            assert!(notes.iter().any(|n| n.contains(said)), "{said} missing in {notes:#?}");
        }
    }

    #[test]
    fn a_host_with_nothing_still_gets_a_plan() {
        let Settled { plan, notes } = resolve(&SiteFile::default(), &HostFacts::default());
        assert_eq!((plan.interface, plan.resolvers.len(), plan.references.len()), (None, 0, 4));
        assert!(notes.iter().any(|n| n.contains("router lanes are blind")), "{notes:#?}");
        assert!(notes.iter().any(|n| n.contains("names lane is blind")), "{notes:#?}");
    }

    #[test]
    fn an_ipv6_only_host_asks_by_ipv6() {
        let host = HostFacts { gateway: Some("fe80::1".parse().unwrap()), ..host() };
        let plan = resolve(&SiteFile::default(), &host).plan;
        assert!(plan.references.iter().all(|r| r.address.is_ipv6()));
    }

    #[test]
    fn what_the_file_says_wins_over_the_host() {
        let Settled { plan, notes } = settled(
            "[site]\ninterface = \"wlan0\"\nkind = \"small-business\"\nuses = [\"burglary\", \"fire\"]\n\
             [[reference]]\nname = \"one\"\naddress = \"10.0.0.1\"\n[[resolver]]\naddress = \"192.0.2.9:5300\"\n\
             [cadence]\noutside = \"3s\"\n",
        );
        assert_eq!(plan.interface.as_deref(), Some("wlan0"));
        assert_eq!(&*plan.resolvers[0].name, "192.0.2.9:5300");
        assert_eq!(plan.cadence.outside, Micros::from_secs(3));
        assert!(!plan.references[0].builtin);
        for said in [
            "default route goes through eth0",
            "Only 1 reference point is named",
            "private",
            "household",
            "out of scope",
        ] {
            assert!(notes.iter().any(|n| n.contains(said)), "{said} missing in {notes:#?}");
        }
        let gone = settled("[site]\ninterface = \"eth7\"\n");
        assert!(gone.notes.iter().any(|n| n.contains("eth7 is not on this host")), "{:#?}", gone.notes);
    }

    #[test]
    fn a_lease_with_resolvers_goes_before_resolv_conf() {
        let lease = host().with_lease(vec![Ipv4Addr::new(192, 0, 2, 1).into()]);
        let Settled { plan, notes } = resolve(&SiteFile::default(), &lease);
        assert_eq!(&*plan.resolvers[0].name, "192.0.2.1");
        assert!(notes.iter().any(|n| n.contains("of the lease")));
        assert_eq!(host().with_lease(vec![]), host());
    }
}
