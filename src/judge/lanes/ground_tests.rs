//! Conditions and changes as scripts of looks.

use super::*;
use crate::judge::facts::{Lease, NameAnswer, Radio, RouterLife, Web};

fn m(s: i64) -> Moment {
    Moment(s * 1_000_000)
}

fn seen(at: i64, question: Question, outcome: Outcome, detail: Detail) -> Observation {
    Observation { asked: m(at), known: m(at), question, target: "t".into(), outcome, rtt: None, detail }
}

fn said(at: i64, question: Question, detail: Detail) -> Observation {
    seen(at, question, Outcome::Answered, detail)
}

fn odd(all: &[Observation]) -> Vec<Oddity> {
    let mut g = Ground::default();
    for o in all {
        g.observe(o, Some(Micros::from_secs(200)));
    }
    g.spans().into_iter().map(|s| s.oddity).collect()
}

fn held(address: [u8; 4], prefix: u8, valid_s: Option<u32>) -> HeldAddress {
    HeldAddress { address: address.into(), prefix, valid_s, preferred_s: valid_s, permanent: valid_s.is_none() }
}

fn own(at: i64, held: Vec<HeldAddress>) -> Observation {
    said(at, Question::OwnAddress, Detail::OwnAddress { held, gateway: None })
}

#[test]
fn a_page_in_between_needs_two_looks_and_a_login_page_is_one() {
    let page = |status, to: Option<&str>, as_expected| {
        Detail::Web(Web { status, redirected_to: to.map(Into::into), as_expected })
    };
    let good = || page(204, None, Some(true));
    let bad = || page(302, Some("portal.example"), None);
    assert!(odd(&[said(0, Question::Portal, good()), said(60, Question::Portal, bad())]).is_empty());
    let all = [said(0, Question::Portal, bad()), said(60, Question::Portal, bad())];
    assert_eq!(odd(&all), [Oddity::Intercepted { to: Some("portal.example".into()) }]);
    // RFC 6585: 511 Network Authentication Required.
    let all = [0, 60].map(|at| said(at, Question::Portal, page(511, None, None)));
    assert_eq!(odd(&all), [Oddity::Intercepted { to: None }]);
}

#[test]
fn idle_times_count_under_the_rfc_figure_or_the_stations_interval() {
    let idle = |over, kept_s, lost_s| said(0, Question::IdleTimeout, Detail::Idle { over, kept_s, lost_s });
    // The station's interval here is 200 s; RFC 4787 asks for 120 s.
    for (lost, short) in [(Some(60), true), (Some(199), true), (Some(300), false), (None, false)] {
        assert_eq!(!odd(&[idle(Transport::Udp, 30, lost)]).is_empty(), short, "{lost:?}");
    }
}

#[test]
fn large_packets_that_vanish_are_a_hole_unless_a_router_says_so() {
    let mtu = |passed, lost, told| said(0, Question::PathMtu, Detail::PathMtu { passed, lost, told });
    assert_eq!(odd(&[mtu(1_400, Some(1_500), None)]), [Oddity::MtuBlackHole { passed: 1_400 }]);
    assert!(odd(&[mtu(1_400, Some(1_500), Some(1_400))]).is_empty());
    assert!(odd(&[mtu(1_500, None, None)]).is_empty());
    // Larger than a LAN carries: no matter.
    assert!(odd(&[mtu(1_500, Some(9_000), None)]).is_empty());
}

#[test]
fn the_clock_is_off_only_when_that_is_sure() {
    let off = |s, error| {
        let (offset, error) = (Micros::from_secs(s), Micros::from_secs(error));
        said(0, Question::ClockOffset, Detail::ClockOffset { offset, error })
    };
    assert!(odd(&[off(25, 10)]).is_empty());
    assert_eq!(odd(&[off(-45, 1)]), [Oddity::ClockOffset(Micros::from_secs(-45))]);
}

#[test]
fn a_weak_radio_and_a_missing_communicator_need_three_looks() {
    let radio = |at, dbm| said(at, Question::Radio, Detail::Radio(Radio { signal_dbm: Some(dbm), ..Radio::default() }));
    assert!(odd(&[radio(0, -80), radio(10, -80), radio(20, -60)]).is_empty());
    assert_eq!(odd(&[radio(0, -80), radio(10, -80), radio(20, -81)]), [Oddity::WeakRadio(-81)]);
    let miss = |at| seen(at, Question::Communicator, Outcome::Timeout, Detail::None);
    let there = |at| said(at, Question::Communicator, Detail::Claimants(vec![Mac([2, 0, 0, 0, 0, 9])]));
    assert!(odd(&[there(0), miss(60), miss(120), there(180)]).is_empty());
    assert_eq!(odd(&[there(0), miss(60), miss(120), miss(180)]), [Oddity::CommunicatorAbsent("t".into())]);
}

#[test]
fn ipv6_alone_for_a_while_is_ipv4_missing_and_translation_is_told() {
    let six = |at| {
        let a = HeldAddress { address: "2001:db8::7".parse().expect("an address"), ..held([0; 4], 64, None) };
        own(at, vec![a])
    };
    let nat64 = Detail::Name(NameAnswer {
        addresses: vec!["2001:db8:64::c000:aa".parse().expect("an address")],
        ..NameAnswer::default()
    });
    assert!(odd(&[six(0), six(10), own(20, vec![held([192, 0, 2, 7], 24, None)])]).is_empty());
    assert_eq!(odd(&[six(0), six(20), six(40)]), [Oddity::Ipv4Missing { translated: None }]);
    let all = [said(0, Question::Translation, nat64), six(1), six(20), six(40)];
    assert_eq!(odd(&all), [Oddity::Ipv4Missing { translated: Some(true) }]);
}

#[test]
fn a_lease_past_its_rebinding_time_was_not_renewed_and_one_renewed_in_time_was() {
    let at = |s: i64, left: u32| own(s, vec![held([192, 0, 2, 7], 24, Some(left))]);
    // RFC 2131 section 4.4.5: T1 at 0.5, T2 at 0.875 of 3600 s.
    let late: Vec<Observation> = (0..3_500).step_by(10).map(|s| at(s, 3_600 - s as u32)).collect();
    assert_eq!(odd(&late), [Oddity::LeaseNotRenewed]);
    let well: Vec<Observation> = (0..7_000).step_by(10).map(|s| at(s, 3_600 - (s % 1_800) as u32)).collect();
    assert!(odd(&well).is_empty());
    let mut g = Ground::default();
    for o in &well {
        g.observe(o, None);
    }
    assert!((g.lease_age_at(m(1_799)).expect("known") - 0.5).abs() < 0.01);
    // Run out, or taken away in the middle, or without an end.
    let lost = |left: Option<u32>| {
        let mut g = Ground::default();
        for o in [own(0, vec![held([192, 0, 2, 7], 24, left)]), own(10, vec![])] {
            g.observe(&o, None);
        }
        g.lease_lost_between(m(0), m(10)).expect("lost")
    };
    assert_eq!((lost(Some(8)), lost(Some(900)), lost(None)), (Some(true), Some(false), None));
}

#[test]
fn changes_are_told_with_the_looks_around_them() {
    let mut g = Ground::default();
    let gateway = |at, n| said(at, Question::GatewayArp, Detail::Claimants(vec![Mac([2, 0, 0, 0, 0, n])]));
    let offer = |at, n: u8| {
        let server = Some(IpAddr::from([192, 0, 2, n]));
        let lease = Lease { server, resolvers: vec![IpAddr::from([192, 0, 2, n])], ..Lease::default() };
        said(at, Question::Offers, Detail::Offers { offers: vec![lease], discarded: 0 })
    };
    let outer = |at, a: [u8; 4]| {
        said(
            at,
            Question::RouterLife,
            Detail::RouterLife(RouterLife { outer: Some(a.into()), ..RouterLife::default() }),
        )
    };
    for o in [
        gateway(0, 1),
        gateway(1, 9),
        gateway(2, 1),
        offer(3, 1),
        outer(4, [203, 0, 113, 5]),
        own(5, vec![held([192, 0, 2, 7], 24, None)]),
        gateway(10, 9),
        gateway(11, 9),
        offer(12, 9),
        outer(13, [203, 0, 113, 77]),
        outer(14, [198, 51, 100, 1]),
        own(15, vec![held([198, 51, 100, 7], 24, None)]),
    ] {
        g.observe(&o, None);
    }
    let kinds: Vec<String> =
        g.changes().iter().map(|(_, c)| format!("{c:?}").split(' ').next().expect("a word").into()).collect();
    assert_eq!(kinds, ["Gateway", "Server", "Resolvers", "Outer", "Outer", "Address"]);
    let (edge, _) = g.changes()[0];
    assert_eq!(edge, Edge::between(m(2), m(11)));
    assert!(matches!(g.changes()[3].1, Change::Outer { prefix: false, .. }));
    assert!(matches!(g.changes()[4].1, Change::Outer { prefix: true, .. }));
    assert!(matches!(g.changes()[5].1, Change::Address { subnet: true, .. }));
}

#[test]
fn space_that_is_not_routed_is_known() {
    // RFC 1918 and RFC 6598.
    for (a, what) in [
        ([10, 1, 2, 3], Some("private")),
        ([172, 31, 0, 1], Some("private")),
        ([172, 32, 0, 1], None),
        ([100, 64, 0, 1], Some("shared")),
        ([100, 127, 255, 255], Some("shared")),
        ([100, 128, 0, 1], None),
        ([203, 0, 113, 1], None),
    ] {
        assert_eq!(unrouted(IpAddr::from(a)), what, "{a:?}");
    }
}
