//! Beyond the router: the line, names, the receiver.

use super::{brief, causes, likely, only};
use crate::judge::kit::*;
use crate::judge::{Cause, Detail, Entry, Moment, Outcome, Question, RouterLife, Unreachable};

const CUT: std::ops::Range<i64> = 40_000..70_000;

#[test]
fn a_router_that_calls_its_outer_side_disconnected_shows_the_line_cut() {
    let inferred = only(&Site::new(120, |t, at| timeout(outside(t) && CUT.contains(&at))), Cause::AccessLine);
    assert!((0.8..=0.9).contains(&inferred.confidence), "{}", inferred.confidence);
    let told = (0..12).map(|i| {
        let life = RouterLife { connected: Some(!CUT.contains(&(i * 10_000))), ..RouterLife::default() };
        said(i * 10_000, Question::RouterLife, "router", Detail::RouterLife(life))
    });
    let t = only(&Site::new(120, |t, at| timeout(outside(t) && CUT.contains(&at))).and(told), Cause::AccessLine);
    assert!(t.confidence > 0.9);
}

#[test]
fn all_reference_points_gone_with_the_receiver_there_are_filtered() {
    let t =
        only(&Site::new(120, |t, at| timeout(t.starts_with("ref") && CUT.contains(&at))), Cause::ReferencesFiltered);
    assert!(likely(&t, Cause::AccessLine) < 0.1 && t.path_down.is_none());
}

#[test]
fn a_page_in_between_explains_the_silence() {
    let site =
        Site::new(200, |t, at| timeout(outside(t) && (40_000..160_000).contains(&at))).and(pages(200, (40, 160)));
    let look = site.look();
    assert!(
        look.troubles.iter().all(|t| t.cause == Cause::Portal),
        "{}",
        look.troubles.iter().map(brief).collect::<String>()
    );
}

#[test]
fn answers_that_take_many_times_as_long_are_congestion_and_the_losses_with_it_too() {
    let mut site = Site::new(300, |t, at| {
        timeout(outside(t) && (120_000..180_000).contains(&at) && at % 4 == 1 && at % 3_000 < 1_000)
    });
    site.took = Box::new(|t, at| if outside(t) && (100_000..200_000).contains(&at) { 700 } else { 14 });
    let t = only(&site, Cause::Congestion);
    assert!(t.path_down.is_none() && t.confidence > 0.7, "{}", brief(&t));
}

#[test]
fn the_same_minute_of_the_line_is_works_and_the_same_hours_of_losses_a_busy_line() {
    let mut site = Site::new(6 * 86_400, |t, at| {
        timeout(outside(t) && at > 5_000_000 && (at - 5_000_000).rem_euclid(86_400_000) < 900_000)
    });
    site.every = 30;
    let look = site.look();
    assert!(
        look.troubles.len() == 6 && look.troubles.iter().all(|t| t.cause == Cause::ProviderMaintenance),
        "{:?}",
        causes(&look)
    );
    let mut site = Site::new(8 * 86_400, |_, _| None);
    site.took = Box::new(|t, at| {
        let (day, ms) = (at / 86_400_000, at.rem_euclid(86_400_000));
        let from = 60_000_000 + (day * 37 % 11) * 1_000_000;
        if outside(t) && (from..from + 1_800_000).contains(&ms) { 900 } else { 20 }
    });
    site.every = 30;
    let look = site.look();
    let busy = look.troubles.iter().filter(|t| t.cause == Cause::BusyHours).count();
    assert!(busy >= 6 && busy + 1 >= look.troubles.len(), "{}", look.troubles.iter().map(brief).collect::<String>());
}

#[test]
fn what_the_receiver_says_names_it() {
    for (outcome, cause) in [
        (Outcome::Refused, Cause::ReceiverRefusing),
        (Outcome::Reset, Cause::ReceiverResetting),
        (Outcome::Timeout, Cause::ReceiverSilent),
        (Outcome::Unreachable(Unreachable::Prohibited), Cause::ReceiverFiltered),
    ] {
        let t = only(&Site::new(120, move |t, at| (t == "receiver" && CUT.contains(&at)).then_some(outcome)), cause);
        assert!(t.confidence > 0.7, "{cause:?} {}", t.confidence);
        assert!((t.confidence > 0.9) == (outcome != Outcome::Timeout), "{cause:?} {}", t.confidence);
        assert!(likely(&t, Cause::AccessLine) < 0.05);
    }
    // Filter or receiver: silence alone does not say, and from the first look less so.
    let t = only(&Site::new(120, |t, at| timeout(t == "receiver" && CUT.contains(&at))), Cause::ReceiverSilent);
    assert!(likely(&t, Cause::ReceiverFiltered) > 0.05);
    let look = Site::new(120, |t, _| timeout(t == "receiver")).look();
    let t = look.troubles.last().expect("one");
    assert!(likely(t, Cause::ReceiverFiltered) > 0.25, "{}", brief(t));
}

#[test]
fn a_receiver_that_fails_where_large_packets_vanish_may_fail_for_that() {
    let mtu = (0..12).map(|i| {
        said(
            i * 10_000,
            Question::PathMtu,
            "receiver",
            Detail::PathMtu { passed: 1_400, lost: Some(1_492), told: None },
        )
    });
    let look = Site::new(120, |t, at| timeout(t == "receiver" && CUT.contains(&at))).and(mtu).look();
    assert!(causes(&look).contains(&"mtu-black-hole"));
    let t = look.troubles.iter().find(|t| t.path_down.is_some()).expect("the receiver's silence");
    assert!(likely(t, Cause::MtuBlackHole) > 0.04, "{}", brief(t));
}

#[test]
fn names_that_fail_alone_are_the_resolvers() {
    let t = only(&Site::new(120, |t, at| timeout(t == "resolver" && CUT.contains(&at))), Cause::NameService);
    assert!(t.confidence > 0.9 && t.path_down.is_none());
}

#[test]
fn large_packets_lost_among_others_are_no_hole_until_they_are_lost_again() {
    let lossy_spell = || Site::new(400, |t, at| timeout(outside(t) && (40_000..70_000).contains(&at) && lossy(at)));
    let mtu = |s: i64| {
        let hole = Detail::PathMtu { passed: 1_400, lost: Some(1_492), told: None };
        [said(s * 1_000, Question::PathMtu, "ref0", hole)]
    };
    assert_eq!(causes(&lossy_spell().and(mtu(55)).look()), ["loss-burst"]);
    assert_eq!(causes(&lossy_spell().and(mtu(55)).and(mtu(300)).look()), ["loss-burst", "mtu-black-hole"]);
}

/// Three in four of what goes past the router is lost from second 47 on, and the resolver fails in these seconds before.
fn lost_before_a_burst(target: &'static str, before: std::ops::Range<i64>, outcome: Outcome) -> Site {
    Site::new(160, move |t, at| {
        let first = t == target && before.contains(&at);
        let then = (outside(t) || t == "resolver") && (47_000..90_000).contains(&at) && lossy(at);
        if first { Some(outcome) } else { timeout(then) }
    })
}

#[test]
fn what_one_target_loses_in_a_row_just_before_a_burst_further_in_shows_is_the_bursts() {
    for target in ["resolver", "receiver", "ref-b"] {
        let t = only(&lost_before_a_burst(target, 40_000..44_900, Outcome::Timeout), Cause::LossBurst);
        if let Some((from, Some(to))) = t.path_down {
            assert!(from.earliest <= to.latest, "{}", brief(&t));
        }
    }
}

#[test]
fn what_failed_long_before_a_burst_or_was_refused_is_not_the_bursts() {
    let long_before = lost_before_a_burst("resolver", 10_000..30_000, Outcome::Timeout).look();
    assert_eq!(causes(&long_before), ["name-service", "loss-burst"]);
    let refused = lost_before_a_burst("receiver", 35_000..39_900, Outcome::Refused).look();
    assert_eq!(causes(&refused), ["receiver-refusing", "loss-burst"]);
}

#[test]
fn large_packets_lost_in_a_search_that_a_burst_disturbed_are_no_black_hole() {
    let hole = Detail::PathMtu { passed: 690, lost: Some(691), told: None };
    let searched = |from: i64, to: i64| {
        let mut entry = seen(to, Question::PathMtu, "ref-a", Outcome::Answered, hole.clone());
        if let Entry::Seen(o) = &mut entry {
            o.asked = Moment(from * 1_000);
        }
        entry
    };
    let burst = |t: &str, at: i64| timeout(beyond_lead(t) && (22_000..50_000).contains(&at) && lossy(at));
    // As it came in the lab: begun within the burst, known two seconds after it.
    assert_eq!(causes(&Site::new(120, burst).and([searched(28_000, 52_100)]).look()), ["lan-loss"]);
    let again = Site::new(120, burst).and([searched(28_000, 52_100), searched(80_000, 84_000)]).look();
    assert_eq!(causes(&again), ["lan-loss", "mtu-black-hole"]);
}

/// A number that looks drawn, the same for the same seed, target and moment (the mixer of splitmix64).
fn drawn(seed: u64, target: &str, at: i64) -> f64 {
    let mut z = target.bytes().fold(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ at as u64, |z, b| {
        (z ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
    });
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)) as f64 / u64::MAX as f64
}

/// Plays losses by chance many times, and holds the judge to what is promised of causes.
fn losses_are_called(cause: Cause, hits: fn(&str) -> bool) {
    let (mut plays, mut extras, mut wrong) = (0, Vec::new(), Vec::new());
    for seed in 0..300 {
        let share = [0.3, 0.4, 0.5][seed as usize % 3];
        let site = Site::new(150, move |t, at| {
            timeout(hits(t) && (40_000..70_000).contains(&at) && drawn(seed, t, at) < share)
        });
        let look = site.look();
        plays += 1;
        // The longest trouble speaks for the play.
        let first = look.troubles.iter().max_by_key(|t| t.root.length(look.now));
        wrong.extend(first.is_none_or(|t| t.cause != cause).then_some(seed));
        let others = look.troubles.iter().filter(|t| t.cause != cause);
        extras.extend(others.map(|t| (seed, t.cause.word(), t.confidence)));
    }
    assert!(extras.iter().all(|(_, _, sure)| *sure <= 0.9), "{extras:?}");
    // Fewer than one in twenty, so that the right cause comes first as often as is promised.
    assert!(wrong.len() * 20 <= plays, "{wrong:?} of {plays}: {extras:?}");
}

#[test]
fn losses_by_chance_are_never_surely_anything_else() {
    losses_are_called(Cause::LossBurst, |t| outside(t) || t == "resolver");
    losses_are_called(Cause::LanLoss, beyond_lead);
}
