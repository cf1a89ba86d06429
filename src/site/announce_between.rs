//! What is asked about what lies between, in words, or what would have to be named for it to be asked.
//!
//! Decides only the words; every figure comes from the plan.

use super::plan::{Asked, Host, Plan};
use crate::judge::Transport;
use crate::probe::{idle_search, path_mtu};
use std::net::SocketAddr;

/// The lines about what lies between, of the names and the outside.
pub(super) fn lines(plan: &Plan) -> Vec<String> {
    let between = &plan.between;
    let mut lines = Vec::new();
    let named: Vec<_> = plan.references.iter().filter(|r| !r.builtin).collect();
    for r in &plan.resolvers {
        lines.push(format!(
            "  names: to resolver {}, one small DNS question (whether it translates IPv4 addresses, RFC 7050), every {}",
            r.name, between.translation
        ));
    }
    for r in &named {
        lines.push(format!(
            "  second hop: to {} at {}, the same DNS question with a life of two hops, every {}",
            r.name, r.address, between.second_hop
        ));
        lines.push(format!(
            "  packet size: to {}, up to {} ICMP echoes of up to {} octets, every {}",
            r.address.ip(),
            path_mtu::MOST_ECHOES,
            path_mtu::LARGEST,
            between.path_mtu
        ));
    }
    if named.is_empty() {
        lines.push("  second hop, packet size: nothing; name reference points of your own under [[reference]]".into());
    }
    for s in &between.stun_servers {
        lines.push(format!("  outside view: to {}, one STUN question, every {}", at(s), s.every));
    }
    if between.stun_servers.is_empty() {
        lines.push("  outside view: nothing; name a STUN server under [[stun_server]]".into());
    }
    for p in &between.control_pages {
        lines.push(format!(
            "  page in between: to {}, one HTTP request for {}, every {}",
            at(&p.at),
            p.path,
            p.at.every
        ));
    }
    if between.control_pages.is_empty() {
        lines.push("  page in between: nothing; name a page under [[control_page]]".into());
    }
    for s in &between.time_sources {
        lines.push(format!("  clock: to {}, one NTP question, every {}", at(s), s.every));
    }
    if between.time_sources.is_empty() {
        lines.push("  clock: nothing; name a time source under [[time_source]]".into());
    }
    for t in &between.idle_tests {
        let how = match t.over {
            Transport::Tcp => "TCP connections left idle, no data sent on them",
            Transport::Udp => "UDP sockets left idle and STUN questions by them",
        };
        lines.push(format!(
            "  idle time: to {}, at most {} {how}, {} at a time, none idle for longer than {}, every {}",
            at(&t.at),
            idle_search::MOST_TRIALS,
            idle_search::AT_ONCE,
            t.longest,
            t.at.every
        ));
    }
    if between.idle_tests.is_empty() {
        lines
            .push("  idle time: nothing; name a host on which idle connections may be held under [[idle_test]]".into());
    }
    lines
}

fn at(a: &Asked) -> String {
    match &a.host {
        Host::Address(ip) => format!("{} at {}", a.name, SocketAddr::new(*ip, a.port)),
        Host::Name(name) => format!("{} at {name} port {}", a.name, a.port),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{HostFacts, announce, load, resolve};

    fn said(text: &str) -> Vec<String> {
        announce(&resolve(&load("t", text.as_bytes()).unwrap(), &HostFacts::default()).plan)
    }

    #[test]
    fn nothing_is_asked_of_anybody_who_is_not_named_and_it_says_what_to_name() {
        let said = said("");
        for section in ["reference", "stun_server", "control_page", "time_source", "idle_test"] {
            let asked_for = format!("[[{section}]]");
            assert!(said.iter().any(|l| l.contains("nothing; name") && l.contains(&asked_for)), "{section}: {said:#?}");
        }
    }

    #[test]
    fn everybody_named_is_announced_with_the_rhythm() {
        let text = "[[stun_server]]\nname = \"view\"\nhost = \"stun.example\"\nevery = \"90s\"\n\
                    [[control_page]]\nname = \"page\"\nhost = \"192.0.2.80\"\npath = \"/empty\"\n\
                    [[time_source]]\nname = \"time\"\nhost = \"2001:db8::7b\"\n\
                    [[idle_test]]\nname = \"idle\"\nhost = \"echo.example\"\nport = 7\nlongest = \"5m\"\n\
                    [[reference]]\nname = \"ref\"\naddress = \"192.0.2.53\"\n[[resolver]]\naddress = \"192.0.2.1\"\n";
        let said = said(text);
        for (target, rhythm) in [
            ("view at stun.example port 3478, one STUN", "every 1 min 30 s"),
            ("page at 192.0.2.80:80, one HTTP request for /empty", "every 5 min"),
            ("time at [2001:db8::7b]:123, one NTP", "every 15 min"),
            ("idle at echo.example port 7", "every 1 d"),
            ("none idle for longer than 5 min", "every"),
            ("ref at 192.0.2.53:53, the same DNS question with a life of two hops", "every 10 min"),
            ("192.0.2.53, up to", "every 1 h"),
            ("resolver 192.0.2.1, one small DNS question (whether it translates", "every 30 min"),
        ] {
            assert!(said.iter().any(|l| l.contains(target) && l.contains(rhythm)), "{target}, {rhythm}: {said:#?}");
        }
    }
}
