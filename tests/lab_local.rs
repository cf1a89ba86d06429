//! The link, address and gateway probes on real kernel sockets, against the kernel's own ARP and a real dnsmasq, in
//! network namespaces. Needs root, iproute2 and dnsmasq; fails where one is missing.

mod support;

use pathproof::judge::{Detail, Micros, Observation, Outcome, Question};
use pathproof::probe::{address, conflict, gateway_arp, link, offers};
use std::time::Duration;
use support::lateness::answered;
use support::{Lab, carrier, plan, start};

fn offers_in(o: &Observation) -> Vec<String> {
    match &o.detail {
        Detail::Offers { offers, .. } => offers.iter().map(|l| l.server.expect("has one").to_string()).collect(),
        other => panic!("{other:?}"),
    }
}

fn claimants(o: &Observation) -> Vec<String> {
    match &o.detail {
        Detail::Claimants(macs) => macs.iter().map(ToString::to_string).collect(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_discover_is_offered_to_and_nothing_is_requested() {
    let mut lab = Lab::new();
    let (host, router, other) = (lab.host.clone(), lab.router.clone(), lab.other.clone());
    Lab::ip(&router, "addr add 192.0.2.1/24 dev br0");
    Lab::ip(&other, "addr add 192.0.2.2/24 dev eth0");
    let range = "--dhcp-range=192.0.2.50,192.0.2.60,255.255.255.0,1h";
    let log = lab.dnsmasq(&router, "br0", &[range, "--dhcp-option=6,198.51.100.53"]);
    let mut seen = start(&host, plan(), offers::run);

    let o = seen.wait(8, "one offer", |o| o.outcome == Outcome::Answered);
    let Detail::Offers { offers, discarded } = &o.detail else { panic!("{o:?}") };
    let lease = &offers[0];
    // dnsmasq(8): --dhcp-range gives the lease time; T1 and T2 default to 1/2 and 7/8 of it (RFC 2131 section 4.4.5).
    assert_eq!((offers.len(), *discarded, lease.lease_s), (1, 0, Some(3_600)));
    assert_eq!((lease.renew_s, lease.rebind_s, lease.prefix), (Some(1_800), Some(3_150), Some(24)));
    assert_eq!(lease.server.map(|s| s.to_string()).as_deref(), Some("192.0.2.1"));
    assert_eq!(lease.resolvers.iter().map(ToString::to_string).collect::<Vec<_>>(), ["198.51.100.53"]);
    assert_eq!(lease.from.map(|m| m.to_string()), Some(Lab::mac(&router, "br0")));

    let said = std::fs::read_to_string(&log).expect("dnsmasq's log");
    let discover = format!("DHCPDISCOVER(br0) {}", Lab::mac(&host, "eth0"));
    assert!(said.contains(&discover), "{said}");
    assert!(!said.contains("DHCPREQUEST"), "{said}");
    assert!(said.contains(&format!("DHCPOFFER(br0) {}", lease.address.expect("has one"))), "{said}");

    let second = lab.dnsmasq(&other, "eth0", &["--dhcp-range=192.0.2.80,192.0.2.90,255.255.255.0,2m"]);
    let early = seen.wait(15, "the second server", |o| offers_in(o).len() == 2);
    answered(&early, Duration::from_secs(3));
    let whole = seen.wait(6, "the whole round", |o| offers_in(o).len() == 2);
    assert_eq!(whole.asked, early.asked);
    let mut servers = offers_in(&whole);
    servers.sort();
    assert_eq!(servers, ["192.0.2.1", "192.0.2.2"]);
    assert!(!std::fs::read_to_string(second).expect("its log").contains("DHCPREQUEST"));
}

#[test]
fn no_server_is_a_timeout_and_no_carrier_is_blind() {
    let lab = Lab::new();
    let mut seen = start(&lab.host, plan(), offers::run);
    let o = seen.wait(8, "silence", |o| o.question == Question::Offers);
    assert_eq!(o.outcome, Outcome::Timeout);
    Lab::ip(&lab.router, "link set p1 down");
    seen.wait(14, "blind", |o| !o.outcome.was_asked());
}

#[test]
fn the_gateway_answers_a_second_one_is_seen_and_silence_times_out() {
    let lab = Lab::new();
    Lab::ip(&lab.host, "addr add 192.0.2.7/24 dev eth0");
    Lab::ip(&lab.router, "addr add 192.0.2.1/24 dev br0");
    let mut seen = start(&lab.host, plan(), gateway_arp::run);
    seen.wait(3, "no route", |o| o.outcome.words() == "not asked: no route");
    Lab::ip(&lab.host, "route add default via 192.0.2.1");
    let o = seen.wait(4, "an answer", |o| o.outcome == Outcome::Answered);
    assert_eq!((&*o.target, claimants(&o)), ("192.0.2.1", vec![Lab::mac(&lab.router, "br0")]));
    let took = o.rtt.expect("timed").took;
    assert!(took > Micros::ZERO && took < Micros::from_millis(200), "{took}");

    Lab::ip(&lab.other, "addr add 192.0.2.1/24 dev eth0");
    let o = seen.wait(4, "a second answerer", |o| claimants(o).len() == 2);
    let mut both = claimants(&o);
    let mut expected = vec![Lab::mac(&lab.router, "br0"), Lab::mac(&lab.other, "eth0")];
    both.sort();
    expected.sort();
    assert_eq!(both, expected);

    Lab::ip(&lab.other, "addr del 192.0.2.1/24 dev eth0");
    Lab::ip(&lab.router, "addr del 192.0.2.1/24 dev br0");
    let o = seen.wait(5, "silence", |o| o.outcome == Outcome::Timeout);
    answered(&o, Duration::from_millis(1_300));
}

#[test]
fn without_raw_sockets_the_neighbour_table_speaks() {
    // The same test program as another user: no capability, so the kernel refuses the packet socket.
    let lab = Lab::new();
    Lab::ip(&lab.host, "addr add 192.0.2.7/24 dev eth0");
    Lab::ip(&lab.host, "route add default via 192.0.2.1");
    Lab::ip(&lab.router, "addr add 192.0.2.1/24 dev br0");
    let me = std::env::current_exe().expect("this program");
    let told = support::sh(&format!(
        "ip netns exec {} setpriv --reuid 65534 --regid 65534 --clear-groups {} --ignored --exact --nocapture unprivileged_part",
        lab.host,
        me.display()
    ));
    assert!(told.contains("1 passed"), "{told}");
}

#[test]
#[ignore = "run by without_raw_sockets_the_neighbour_table_speaks, as another user"]
fn unprivileged_part() {
    let (seen, mut said) = tokio::sync::mpsc::channel(64);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let (_pace, pace) = tokio::sync::watch::channel(pathproof::probe::Pace::Steady);
    let clock = pathproof::sys::clock::Clock::starting_at(pathproof::judge::Moment(60_000_000));
    let ctx = pathproof::probe::Context { clock, plan: std::sync::Arc::new(plan()), seen, pace };
    let all = runtime.block_on(async move {
        tokio::spawn(gateway_arp::run(ctx.clone()));
        tokio::spawn(offers::run(ctx.clone()));
        tokio::spawn(conflict::run(ctx.clone()));
        tokio::spawn(link::run(ctx));
        let mut all = Vec::new();
        let _ = tokio::time::timeout(std::time::Duration::from_secs(5), async {
            while let Some(o) = said.recv().await {
                all.push(o);
            }
        })
        .await;
        all
    });
    let of = |q| all.iter().filter(move |o| o.question == q).collect::<Vec<_>>();
    let arp = of(Question::GatewayArp);
    assert_eq!((arp.len(), arp[0].outcome), (1, Outcome::NotPermitted), "once a minute: {all:#?}");
    for question in [Question::Offers, Question::Conflict] {
        assert_eq!(of(question).iter().map(|o| o.outcome).collect::<Vec<_>>(), [Outcome::NotPermitted], "{all:#?}");
    }
    assert!(of(Question::Carrier).iter().all(|o| o.outcome == Outcome::Answered), "links need no permission: {all:#?}");
    assert!(of(Question::Carrier).len() > 2);
    let table = of(Question::GatewayNeighbour);
    assert!(table.iter().any(|o| o.outcome == Outcome::Answered && claimants(o).len() == 1), "{all:#?}");
    assert!(table.iter().all(|o| o.outcome == Outcome::Answered), "{all:#?}");
}

#[test]
fn a_second_host_with_our_address_is_a_conflict() {
    let lab = Lab::new();
    Lab::ip(&lab.host, "addr add 192.0.2.7/24 dev eth0");
    let mut seen = start(&lab.host, plan(), conflict::run);
    let o = seen.wait(8, "no conflict", |o| o.question == Question::Conflict);
    assert_eq!(o.outcome, Outcome::Timeout);
    Lab::ip(&lab.other, "addr add 192.0.2.7/24 dev eth0");
    let o = seen.wait(14, "a conflict", |o| o.outcome == Outcome::Answered);
    assert_eq!(claimants(&o), [Lab::mac(&lab.other, "eth0")]);
}

#[test]
fn every_flap_is_counted_and_the_interface_is_followed() {
    let lab = Lab::new();
    let mut seen = start(&lab.host, plan(), link::run);
    let first = seen.wait(3, "carrier", |o| carrier(o).is_some_and(|c| c.up && c.speed_mbps.is_some()));
    let before = carrier(&first).expect("just seen").clone();

    // Five cuts as fast as one process can make them: fewer announcements than changes (measured), the counters hold all.
    let router = &lab.router;
    support::sh(&format!(
        "for i in 1 2 3 4 5; do echo link set p1 down; echo link set p1 up; done | ip -n {router} -batch -"
    ));
    let changes = |o: &Observation| carrier(o).and_then(|c| c.changes).unwrap_or(0);
    let wanted = before.changes.expect("this kernel counts") + 10;
    let o = seen.wait(3, "ten changes", |o| changes(o) == wanted && carrier(o).is_some_and(|c| c.up));
    let after = carrier(&o).expect("just seen");
    assert_eq!(after.down_count.expect("counted") - before.down_count.expect("counted"), 5);
    assert!(seen.of(Question::Carrier).iter().any(|o| carrier(o).is_some_and(|c| c.announced)));

    // The kernel hands link events on once a second at most (link watch), and has just had ten.
    std::thread::sleep(std::time::Duration::from_millis(1_500));
    Lab::ip(&lab.router, "link set p1 down");
    let o = seen.wait(2, "the cut, at once", |o| carrier(o).is_some_and(|c| !c.up && c.announced));
    assert_eq!(o.asked, o.known);
    Lab::ip(&lab.router, "link set p1 up");

    Lab::ip(&lab.host, "link set eth0 down");
    Lab::ip(&lab.host, "link set eth0 name lan9");
    Lab::ip(&lab.host, "link set lan9 up");
    let o = seen.wait(3, "the new name", |o| carrier(o).is_some_and(|c| c.name == "lan9" && c.up));
    assert_eq!((&*o.target, carrier(&o).map(|c| c.index)), ("eth0", Some(before.index)));

    Lab::ip(&lab.router, "link del p1");
    seen.wait(2, "gone, at once", |o| o.detail == Detail::Gone && o.outcome == Outcome::Answered);
    lab.plug(&lab.host, "p3");
    let o = seen.wait(3, "back", |o| carrier(o).is_some_and(|c| c.up));
    assert_ne!(carrier(&o).map(|c| c.index), Some(before.index));
}

#[test]
fn addresses_the_gateway_and_the_lease_are_told_when_they_change() {
    let lab = Lab::new();
    let file = lab.files.path().join("lease");
    let mut plan = plan();
    plan.lease_file = Some(file.clone());
    std::fs::write(&file, "ADDRESS=192.0.2.7\nSERVER_ADDRESS=192.0.2.1\nLIFETIME=20\n").expect("written");
    let mut seen = start(&lab.host, plan, address::run);
    seen.wait(3, "no lease for an address we hold", |o| o.question == Question::Lease && !o.outcome.was_asked());
    Lab::ip(&lab.host, "addr add 192.0.2.7/24 dev eth0 valid_lft 20 preferred_lft 10");
    let o = seen.wait(
        1,
        "the address, at once",
        |o| matches!(&o.detail, Detail::OwnAddress { held, .. } if held.iter().any(|h| h.address.is_ipv4())),
    );
    let Detail::OwnAddress { held, gateway } = o.detail else { unreachable!() };
    assert_eq!((held.len(), held[0].prefix, held[0].permanent, gateway), (1, 24, false, None));
    assert!(held[0].valid_s.is_some_and(|s| (19..=20).contains(&s)), "{held:?}");
    let o = seen.wait(1, "its lease", |o| o.question == Question::Lease && o.outcome == Outcome::Answered);
    assert!(matches!(o.detail, Detail::Lease(l) if l.lease_s == Some(20)));
    Lab::ip(&lab.host, "route add default via 192.0.2.1");
    seen.wait(1, "the gateway, at once", |o| {
        matches!(&o.detail, Detail::OwnAddress { gateway, .. } if gateway.is_some_and(|g| g.to_string() == "192.0.2.1"))
    });
    // The lab's default interface is also what a survey without a site file would take.
    let found = support::ask(&lab.host, async |kernel| kernel.default_interface().await.expect("asked"));
    assert_eq!(found.map(|i| i.carrier.name).as_deref(), Some("eth0"));
}
