//! The plan in words, before the first packet: what will be sent, to whom, how often, and what is kept.
//!
//! Decides only the words; every figure comes from the plan. Nothing may be sent that is not said here.

use super::cadence;
use super::plan::{Host, Plan, Receiver, Transport};
use crate::judge::{CLOSE, Micros};

/// The plan as plain lines. They hold text of the site file and the host: escape where shown.
pub fn announce(plan: &Plan) -> Vec<String> {
    let every = plan.cadence;
    let mut lines = Vec::new();
    if plan.practice {
        lines.push("This is the practice site: no packet leaves this host.".into());
    }
    lines.push("What is sent, to whom, and how often:".into());
    lines.push(format!("  link, address: nothing; this host's kernel is asked every {}", every.local));
    if plan.loopback {
        lines.push("  router: nothing; this practice site is on loopback addresses and has none".into());
    } else if let Some(interface) = &plan.interface {
        lines.push(format!(
            "  router: one ARP or neighbour question and one ICMP echo to the gateway on {interface}, every {}",
            every.router
        ));
        lines.push(format!(
            "  address: on {interface}, one DHCP discover (a question; no address is ever requested) and the question \
             whether another host uses this host's address (RFC 5227), every {}",
            every.offers
        ));
    } else {
        lines.push("  router: nothing; no interface is known".into());
    }
    if !plan.loopback {
        lines.extend(plan.signs.announced(plan.interface.as_deref().unwrap_or_default()));
    }
    for r in &plan.resolvers {
        lines.push(format!(
            "  names: to resolver {}, two small DNS questions ({} and a name that must not exist), every {}",
            r.name, plan.existing_name, every.names
        ));
    }
    for r in &plan.references {
        lines.push(format!(
            "  outside: to {} at {}, one small DNS question (the root's name servers), every {}",
            r.name, r.address, every.outside
        ));
    }
    for r in &plan.receivers {
        lines.push(format!("  receiver: {}, every {}", contact(r), every.receiver));
    }
    if plan.receivers.is_empty() {
        lines.push("  receiver: nothing; none is named".into());
    }
    lines.extend(super::announce_between::lines(plan));
    lines.push(closing_in(plan));
    lines.push(format!("Each answer is waited for {}.", plan.patience));
    lines.push("Never sent: an alarm event, a byte to a receiver beyond the connection, a scan, a sniff.".into());
    lines.push(
        "What is kept, in one file on this host: each question, its target, its time and what came back; this host's \
         addresses and lease; hardware addresses of the gateway, of the neighbours this host's kernel knows and of whoever \
         answers as address server or claims this host's address; what power supplies and the router say of themselves. \
         Nothing is sent elsewhere."
            .into(),
    );
    lines
}

fn contact(r: &Receiver) -> String {
    let host = match &r.host {
        Host::Address(ip) => std::net::SocketAddr::new(*ip, r.port).to_string(),
        Host::Name(name) => format!("{name} port {}", r.port),
    };
    let how = match r.transport {
        Transport::Tcp => "one TCP connection, closed at once",
        Transport::Tls => "one TCP connection and TLS handshake, closed at once",
    };
    format!("to {} at {host}, {how}, nothing sent on it", r.name)
}

fn closing_in(plan: &Plan) -> String {
    let builtin = plan.references.iter().any(|r| r.builtin);
    let outside = if builtin { cadence::FLOOR_OUTSIDE_BUILTIN } else { cadence::FLOOR_OUTSIDE };
    let slow: Vec<(&str, Micros)> = [("reference points", outside), ("address", cadence::FLOOR_OFFERS)]
        .into_iter()
        .chain(plan.signs.sends_slowly().then_some(("the router's account of itself", cadence::FLOOR_SIGNS)))
        .filter(|(_, floor)| *floor > CLOSE)
        .collect();
    let limits: Vec<String> = slow.iter().map(|(what, floor)| format!("{what} every {floor}")).collect();
    format!(
        "From the first question unanswered until all is answered again, what is slower than that becomes every {}, but not oftener than {}.",
        CLOSE,
        limits.join(" and ")
    )
}

#[cfg(test)]
mod tests {
    use super::super::{HostFacts, load, resolve};
    use super::*;

    fn lines(text: &str) -> Vec<String> {
        let host = HostFacts { default_interface: Some("eth0".into()), ..HostFacts::default() };
        announce(&resolve(&load("t", text.as_bytes()).unwrap(), &host).plan)
    }

    #[test]
    fn every_target_of_the_plan_is_announced_with_its_rhythm() {
        let text = "[[receiver]]\nname = \"first\"\nhost = \"a.example\"\nport = 9999\n\
                    [[receiver]]\nname = \"second\"\nhost = \"2001:db8::9\"\nport = 9999\ntransport = \"tls\"\n\
                    [[resolver]]\naddress = \"192.0.2.1\"\n[cadence]\nreceiver = \"7s\"\nnames = \"3s\"\n";
        let said = lines(text);
        for (target, rhythm) in [
            ("a.example port 9999", "every 7.0 s"),
            ("[2001:db8::9]:9999, one TCP connection and TLS handshake", "every 7.0 s"),
            ("resolver 192.0.2.1", "every 3.0 s"),
            ("f.root-servers.net at 192.5.5.241:53", "every 10 s"),
            ("m.root-servers.net at 202.12.27.33:53", "every 10 s"),
            ("gateway on eth0", "every 1.0 s"),
            ("DHCP discover", "every 1 min"),
        ] {
            assert!(said.iter().any(|l| l.contains(target) && l.contains(rhythm)), "{target}, {rhythm}: {said:#?}");
        }
        assert!(said.iter().any(|l| l.contains("reference points every 10 s and address every 10 s")), "{said:#?}");
    }

    #[test]
    fn it_says_what_is_not_sent() {
        assert!(lines("").iter().any(|l| l.contains("receiver: nothing")));
        assert!(lines("").iter().any(|l| l.starts_with("Never sent: an alarm event")));
    }
}
