//! What the agent will ask of power and of the boxes around it, and those questions in words.
//!
//! Decides which signs are looked for: only those that were settled here are started, and each that sends anything is
//! announced. The values are the plan's; `resolve` settles them.

use super::cadence;
use crate::judge::{Mac, Micros};
use serde::{Deserialize, Serialize};
use std::net::SocketAddr;

/// A unit watched by a NUT server.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Nut {
    /// What the server calls the unit.
    pub unit: String,
    /// Where the server is.
    pub server: SocketAddr,
}

/// An SNMP agent that may be asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Snmp {
    /// Where it is.
    pub agent: SocketAddr,
    /// The community that may read it.
    pub community: String,
}

/// What a site file says of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PowerSources {
    /// A unit watched by a NUT server.
    pub nut: Option<Nut>,
    /// Whether the router may be searched by UPnP.
    pub ask_router: bool,
    /// The router's SNMP agent.
    pub snmp: Option<Snmp>,
}

/// The signs looked for. The default looks for none.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signs {
    /// This host's own power supplies.
    pub own_supply: bool,
    /// A unit watched by a NUT server.
    pub nut: Option<Nut>,
    /// The router, by UPnP.
    pub upnp: bool,
    /// The router, by SNMP.
    pub snmp: Option<Snmp>,
    /// What the kernel holds of neighbours and of a radio link.
    pub kernel_tables: bool,
    /// The communicator's hardware address, to see whether it is there.
    pub communicator: Option<Mac>,
    /// How often mains is asked for.
    pub mains_every: Micros,
    /// How often the rest is.
    pub signs_every: Micros,
}

impl Default for Signs {
    fn default() -> Self {
        Self {
            own_supply: false,
            nut: None,
            upnp: false,
            snmp: None,
            kernel_tables: false,
            communicator: None,
            mains_every: cadence::SURVEY_MAINS,
            signs_every: cadence::SURVEY_SIGNS,
        }
    }
}

impl Signs {
    /// Whom power and the router's life are asked of, in a few words each.
    pub fn sources(&self) -> Vec<String> {
        let every = |who: String, how_often: Micros| format!("{who}, every {how_often}");
        let own = self.own_supply.then(|| every("this host's own power supplies".into(), self.mains_every));
        let nut = self.nut.as_ref().map(|n| every(format!("NUT unit {} at {}", n.unit, n.server), self.mains_every));
        let upnp = self.upnp.then(|| every("the router, by UPnP".into(), self.signs_every));
        let snmp = self.snmp.as_ref().map(|s| every(format!("SNMP agent at {}", s.agent), self.signs_every));
        let present =
            self.communicator.map(|mac| every(format!("presence of the communicator {mac}"), self.signs_every));
        [own, nut, upnp, snmp, present].into_iter().flatten().collect()
    }

    /// Whether any of the slower signs sends something.
    pub(super) fn sends_slowly(&self) -> bool {
        self.upnp || self.snmp.is_some() || self.communicator.is_some()
    }

    /// What is sent, a line each; what is only read on this host comes first.
    pub(super) fn announced(&self, interface: &str) -> Vec<String> {
        let mut lines = Vec::new();
        if self.own_supply {
            lines.push(format!(
                "  power: nothing; this host's kernel is asked for its own power supplies every {}",
                self.mains_every
            ));
        }
        if let Some(nut) = &self.nut {
            lines.push(format!(
                "  power: to the NUT server at {}, three questions about the unit {} (state, charge, time left), every {}",
                nut.server, nut.unit, self.mains_every
            ));
        }
        if self.upnp {
            lines.push(format!(
                "  power: on {interface}, one UPnP search to the local group and, where the gateway answers, questions to it \
                 alone (its description, its state, its outer address), every {}",
                self.signs_every
            ));
        }
        if let Some(snmp) = &self.snmp {
            lines.push(format!(
                "  power: to the SNMP agent at {}, one question (how long it has been up), every {}",
                snmp.agent, self.signs_every
            ));
        }
        if self.kernel_tables {
            lines.push(format!(
                "  power, link: nothing; the kernel's table of neighbours and the state of a radio link are read, at the \
                 latest every {}",
                self.signs_every
            ));
        }
        if let Some(mac) = self.communicator {
            lines.push(format!(
                "  address: on {interface}, ARP frames of the communicator {mac} are heard and, once its address is known, \
                 one ARP request goes to it, every {}",
                self.signs_every
            ));
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::super::{HostFacts, announce, load, resolve};
    use super::*;
    use crate::site::Plan;

    fn plan(text: &str, interface: Option<&str>) -> Plan {
        let host = HostFacts { default_interface: interface.map(str::to_owned), ..HostFacts::default() };
        resolve(&load("t", text.as_bytes()).expect("sound"), &host).plan
    }

    const ALL: &str = "[power]\nnut = \"192.0.2.10\"\nnut_unit = \"house\"\nsnmp = \"192.0.2.1:1161\"\n\
                       snmp_community = \"lan only\"\n[cadence]\nmains = \"2s\"\nsigns = \"30s\"\n\
                       [panel]\ncommunicator_mac = \"02:00:5e:10:00:01\"\n";

    #[test]
    fn what_the_file_names_is_looked_for_and_what_it_does_not_is_not() {
        let signs = plan(ALL, Some("eth0")).signs;
        let nut = Nut { unit: "house".into(), server: "192.0.2.10:3493".parse().expect("literal") };
        let snmp = Snmp { agent: "192.0.2.1:1161".parse().expect("literal"), community: "lan only".into() };
        assert_eq!((signs.nut, signs.snmp), (Some(nut), Some(snmp)));
        assert_eq!((signs.mains_every, signs.signs_every), (Micros::from_secs(2), Micros::from_secs(30)));
        assert_eq!(signs.communicator, Some(Mac([2, 0, 0x5e, 0x10, 0, 1])));
        let empty = plan("", Some("eth0")).signs;
        let wanted = Signs { own_supply: true, upnp: true, kernel_tables: true, ..Signs::default() };
        assert_eq!(empty, wanted);
        assert!(!plan("[power]\nask_router = false\n", Some("eth0")).signs.upnp);
        let nowhere = plan(ALL, None).signs;
        assert!(!nowhere.upnp && !nowhere.kernel_tables && nowhere.communicator.is_none() && nowhere.nut.is_some());
    }

    #[test]
    fn everything_that_is_asked_is_announced_with_its_rhythm_and_the_community_is_not() {
        let said = announce(&plan(ALL, Some("eth0")));
        for (what, rhythm) in [
            ("own power supplies", "every 2.0 s"),
            ("NUT server at 192.0.2.10:3493", "every 2.0 s"),
            ("on eth0, one UPnP search", "every 30 s"),
            ("SNMP agent at 192.0.2.1:1161", "every 30 s"),
            ("table of neighbours", "every 30 s"),
            ("communicator 02:00:5e:10:00:01", "every 30 s"),
            ("the router's account of itself every 10 s", "not oftener"),
        ] {
            assert!(said.iter().any(|l| l.contains(what) && l.contains(rhythm)), "{what}, {rhythm}: {said:#?}");
        }
        assert!(!said.iter().any(|l| l.contains("lan only")));
        let without = announce(&plan("[power]\nask_router = false\n", Some("eth0")));
        assert!(!without.iter().any(|l| l.contains("UPnP") || l.contains("SNMP") || l.contains("NUT")), "{without:#?}");
        assert_eq!(plan(ALL, Some("eth0")).signs.sources().len(), 5);
    }
}
