//! The gateway echo against real kernels: loopback and a lead between two network namespaces (root needed), IPv4 and
//! IPv6, raw and datagram sockets, errors as the kernel and a filter raise them.

mod asks_kit;
use asks_kit::lateness::{answered, took};
use asks_kit::{Pair, context, inside, plan, sh};
use pathproof::judge::{NotAsked, Observation, Outcome, Question, Unreachable};
use pathproof::probe::gateway_echo;
use serde_json::json;
use std::net::IpAddr;
use std::time::Duration;
use tokio::sync::watch;

/// The first observations of a gateway, the very first (stamping just switched on) left out.
async fn observe(interface: Option<&str>, gateway: Option<&str>, count: usize) -> Vec<Observation> {
    let (ctx, mut agent) = context(plan(json!({"interface": interface, "loopback": interface.is_none()})));
    let (_keep, gateway) = watch::channel(gateway.map(|g| g.parse::<IpAddr>().expect("an address")));
    let probe = tokio::spawn(gateway_echo::run(ctx, gateway));
    let mut all = Vec::new();
    while all.len() < count + 1 {
        all.push(agent.next().await);
    }
    agent.seen.close();
    drop(agent);
    tokio::time::timeout(std::time::Duration::from_secs(5), probe).await.expect("ends").expect("no panic");
    all.split_off(1)
}

fn answered_with_kernel_time(all: &[Observation], gateway: &str) {
    for o in all {
        assert_eq!((o.question, &*o.target, o.outcome), (Question::GatewayEcho, gateway, Outcome::Answered), "{o:?}");
        let rtt = o.rtt.expect("an answer has a time");
        assert!(rtt.kernel && rtt.took <= o.known - o.asked, "{o:?}");
        took(&format!("no network in between: {o:?}"), rtt.took, Duration::from_millis(100));
    }
}

#[test]
fn loopback_and_a_lead_in_both_families_with_kernel_stamps() {
    let pair = Pair::new("ec");
    for range in ["1 0", "0 2147483647"] {
        sh(&format!("ip netns exec {} sysctl -qw net.ipv4.ping_group_range='{range}'", pair.here));
        for (interface, gateway) in
            [(None, "127.0.0.1"), (None, "::1"), (Some("lead0"), "192.0.2.1"), (Some("lead0"), "2001:db8::1")]
        {
            let all = pair.within(async move || observe(interface, Some(gateway), 2).await);
            answered_with_kernel_time(&all, gateway);
        }
    }
}

#[test]
fn a_link_local_gateway_is_reached() {
    let pair = Pair::new("ll");
    let shown = sh(&format!("ip -n {} -6 -o addr show dev lead0 scope link", pair.there));
    let gateway =
        shown.split_whitespace().find_map(|w| w.strip_suffix("/64")).expect("a link-local address").to_owned();
    std::thread::sleep(std::time::Duration::from_secs(2)); // duplicate address detection, RFC 4862
    let target = gateway.clone();
    let all = pair.within(async move || observe(Some("lead0"), Some(&target), 1).await);
    answered_with_kernel_time(&all, &gateway);
}

#[test]
fn failures_are_told_apart() {
    let pair = Pair::new("ef");
    for range in ["1 0", "0 2147483647"] {
        sh(&format!("ip netns exec {} sysctl -qw net.ipv4.ping_group_range='{range}'", pair.here));
        // Nobody there: ARP (RFC 826) and neighbour discovery (RFC 4861) go unanswered, told by the kernel when patience
        // outlasts its three tries.
        for gateway in ["192.0.2.77", "2001:db8::77"] {
            let all = pair.within(async move || {
                let (ctx, mut agent) =
                    context(plan(json!({"interface": "lead0", "loopback": false, "patience": 5_000_000})));
                let (_keep, gateway) = watch::channel(Some(gateway.parse().expect("an address")));
                tokio::spawn(gateway_echo::run(ctx, gateway));
                [agent.next().await, agent.next().await]
            });
            for o in all {
                assert_eq!(o.outcome, Outcome::Unreachable(Unreachable::Host), "{range}: {o:?}");
            }
        }
        for (interface, gateway) in [
            (Some("lead0"), None),
            (None, Some("198.51.100.1")),
            (None, Some("2001:db8:1::1")),
            (Some("lead0"), Some("2001:db8:1::1")),
        ] {
            let all = pair.within(async move || observe(interface, gateway, 1).await);
            assert_eq!(all[0].outcome, Outcome::NotAsked(NotAsked::NoRoute), "{range}: {:?}", all[0]);
        }
    }
    let gone = pair.within(async || observe(Some("lead9"), Some("192.0.2.1"), 1).await);
    assert_eq!(gone[0].outcome, Outcome::NotAsked(NotAsked::NoInterface), "{:?}", gone[0]);

    nft(&pair.there, "icmp type echo-request drop");
    let silent = pair.within(async || observe(Some("lead0"), Some("192.0.2.1"), 1).await);
    assert_eq!(silent[0].outcome, Outcome::Timeout, "{:?}", silent[0]);
    let waited = silent[0].known - silent[0].asked;
    assert!(waited.0 >= 1_000_000, "{waited:?}");
    answered(&silent[0], Duration::from_millis(1_300));

    nft(&pair.there, "icmp type echo-request reject with icmp type admin-prohibited");
    let filtered = pair.within(async || observe(Some("lead0"), Some("192.0.2.1"), 1).await);
    assert_eq!(filtered[0].outcome, Outcome::Unreachable(Unreachable::Prohibited), "{:?}", filtered[0]);
}

#[test]
fn a_new_gateway_is_followed() {
    let pair = Pair::new("eg");
    sh(&format!("ip -n {} addr add 192.0.2.9/24 dev lead0", pair.there));
    let targets = pair.within(async || {
        let (ctx, mut agent) = context(plan(json!({"interface": "lead0", "loopback": false})));
        let (to, gateway) = watch::channel(None);
        tokio::spawn(gateway_echo::run(ctx, gateway));
        let mut targets = Vec::new();
        for next in [None, Some("192.0.2.1"), Some("192.0.2.9"), Some("2001:db8::1")] {
            to.send_replace(next.map(|a: &str| a.parse::<IpAddr>().expect("an address")));
            let o = agent.next().await;
            assert_eq!(o.outcome == Outcome::Answered, next.is_some(), "{o:?}");
            targets.push(o.target.to_string());
        }
        targets
    });
    assert_eq!(targets, ["gateway", "192.0.2.1", "192.0.2.9", "2001:db8::1"]);
}

/// A host that floods us with ICMP of every type, and replies with our identifier guessed: nothing counts as an answer,
/// nothing hangs.
#[test]
fn junk_from_the_gateway_is_no_answer() {
    let pair = Pair::new("ej");
    nft(&pair.there, "icmp type echo-request drop");
    let there = pair.there.clone();
    let flood = std::thread::spawn(move || {
        inside(&there, async || {
            let (domain, protocol) = (socket2::Domain::IPV4, socket2::Protocol::ICMPV4);
            let socket = socket2::Socket::new(domain, socket2::Type::RAW, Some(protocol)).expect("root");
            let to = "192.0.2.2:0".parse::<std::net::SocketAddr>().expect("an address").into();
            let until = std::time::Instant::now() + std::time::Duration::from_secs(4);
            let mut n: u32 = 0;
            while std::time::Instant::now() < until {
                n = n.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let mut junk = [n.to_be_bytes(); 12].concat();
                junk.truncate(4 + (n >> 26) as usize % 44);
                if n & 0x100 != 0 {
                    junk[0] = [0, 3, 11, 5][(n >> 12) as usize % 4];
                    junk[1] = 0;
                }
                let _ = socket.send_to(&junk, &to);
            }
        });
    });
    let all = pair.within(async || observe(Some("lead0"), Some("192.0.2.1"), 2).await);
    flood.join().expect("the flood ran");
    for o in all {
        assert_eq!(o.outcome, Outcome::Timeout, "{o:?}");
        answered(&o, Duration::from_millis(1_500));
    }
}

/// An unprivileged user outside the ping range may not ask: said once, not each second.
#[test]
fn not_permitted_is_said_once_a_minute() {
    let pair = Pair::new("en");
    sh(&format!("ip netns exec {} sysctl -qw net.ipv4.ping_group_range='1 0'", pair.here));
    let outcomes = pair.within(async || {
        // Capabilities belong to the thread (capabilities(7)): an unprivileged user id drops them for this one alone.
        // SAFETY: a plain system call without pointers; the thread ends with this closure.
        #[allow(unsafe_code, reason = "glibc's setuid would change every thread of the test process")]
        let result = unsafe { nix::libc::syscall(nix::libc::SYS_setresuid, 65534, 65534, 65534) };
        assert_eq!(result, 0);
        let (ctx, mut agent) = context(plan(json!({"interface": "lead0", "loopback": false})));
        let (_keep, gateway) = watch::channel(Some("192.0.2.1".parse().expect("an address")));
        tokio::spawn(gateway_echo::run(ctx, gateway));
        let first = agent.next().await.outcome;
        let more = tokio::time::timeout(std::time::Duration::from_secs(3), agent.seen.recv()).await;
        (first, more.is_err())
    });
    assert_eq!(outcomes, (Outcome::NotPermitted, true));
}

fn nft(namespace: &str, rule: &str) {
    sh(&format!(
        "ip netns exec {namespace} nft -f - <<'END'
flush ruleset
table inet t {{
  chain c {{
    type filter hook input priority 0
    {rule}
  }}
}}
END"
    ));
}
