//! Conditions that stand beside the lanes: each is a trouble of its own, named as what it is, and none is an outage.

use super::{brief, causes, likely};
use crate::judge::kit::*;
use crate::judge::{Cause, Detail, Entry, HeldAddress, Mac, Micros, NameAnswer, Outcome, Question, Radio, Transport};

/// The same answer each ten seconds.
fn always(question: Question, detail: &Detail) -> Vec<Entry> {
    (0..12).map(|i| said(i * 10_000 + 50, question, "t", detail.clone())).collect()
}

#[test]
fn each_condition_is_named_and_stops_nothing() {
    let idle = Detail::Idle { over: Transport::Udp, kept_s: 30, lost_s: Some(60) };
    let clock = Detail::ClockOffset { offset: Micros::from_secs(95), error: Micros::from_millis(20) };
    let hole = Detail::PathMtu { passed: 1_400, lost: Some(1_492), told: None };
    let radio = Detail::Radio(Radio { signal_dbm: Some(-82), ..Radio::default() });
    let invented = Detail::Name(NameAnswer { answers: 1, ..NameAnswer::default() });
    for (question, detail, cause) in [
        (Question::IdleTimeout, idle, Cause::IdleTimeout),
        (Question::ClockOffset, clock, Cause::ClockOffset),
        (Question::PathMtu, hole, Cause::MtuBlackHole),
        (Question::Radio, radio, Cause::WeakRadio),
        (Question::ControlName, invented, Cause::NamesRewritten),
        (Question::Conflict, Detail::Claimants(vec![mac(9)]), Cause::AddressConflict),
        (Question::GatewayArp, Detail::Claimants(vec![mac(1), mac(9)]), Cause::GatewayTwice),
    ] {
        let mut site = Site::new(120, |_, _| None).and(always(question, &detail));
        if question == Question::GatewayArp {
            // Only the doubled answers.
            site.fails = Box::new(|_, _| None);
            let mut entries = site.entries();
            entries.retain(|e| !matches!(e, Entry::Seen(o) if o.question == question && &*o.target == "gw"));
            let mut judge = crate::judge::Judge::new(settings(1));
            for e in &entries {
                judge.take(e);
            }
            assert_eq!(causes(&judge.look()), [cause.word()]);
            continue;
        }
        let look = site.look();
        assert_eq!(causes(&look), [cause.word()], "{}", look.troubles.iter().map(brief).collect::<String>());
        let t = &look.troubles[0];
        assert!(t.path_down.is_none() && t.confidence > 0.7, "{}", brief(t));
    }
}

#[test]
fn a_communicator_gone_alone_is_absent_and_one_gone_with_the_router_is_not() {
    let watch = |gone: std::ops::Range<i64>| {
        (0..40).map(move |i| {
            let at = i * 10_000 + 70;
            let who: Vec<Mac> = if gone.contains(&(i * 10)) { vec![] } else { vec![mac(77)] };
            let outcome = if who.is_empty() { Outcome::Timeout } else { Outcome::Answered };
            seen(at, Question::Communicator, "panel", outcome, Detail::Claimants(who))
        })
    };
    assert_eq!(causes(&Site::new(400, |_, _| None).and(watch(100..300)).look()), ["communicator-absent"]);
    let away = Site::new(400, |t, at| timeout(beyond_lead(t) && (100_000..300_000).contains(&at)));
    assert_eq!(causes(&away.and(watch(100..300)).look()), ["router-restart"]);
}

#[test]
fn ipv6_alone_is_missing_or_translated_as_the_resolver_says() {
    let six = || {
        let mut site = Site::new(120, |_, _| None);
        site.held = Box::new(|_| {
            let address = "2001:db8::7".parse().expect("an address");
            vec![HeldAddress { address, prefix: 64, ..address_of_nothing() }]
        });
        site
    };
    let t = six().look().troubles[0].clone();
    assert_eq!(t.cause, Cause::Ipv4Missing);
    assert!(likely(&t, Cause::Ipv4Translated) > 0.02);
    let answer =
        NameAnswer { addresses: vec!["2001:db8:64::c000:aa".parse().expect("an address")], ..NameAnswer::default() };
    let look = six().and(always(Question::Translation, &Detail::Name(answer))).look();
    assert_eq!(causes(&look), ["ipv4-translated"]);
}

fn address_of_nothing() -> HeldAddress {
    address(7, None)
}
