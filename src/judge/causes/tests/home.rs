//! The lead, the address, the router.

use super::{brief, causes, likely, only};
use crate::judge::kit::*;
use crate::judge::{Cause, Detail, Lease, Outcome, Question};

#[test]
fn a_pulled_lead_comes_back_with_its_router_and_a_starting_router_later() {
    let lead = Site::new(120, |_, at| timeout((40_000..47_000).contains(&at)));
    let t = only(&lead, Cause::OwnLink);
    assert!(t.confidence > 0.7 && t.path_down.is_some());
    // The carrier is back after twenty seconds, the router a good half minute later.
    let restart = Site::new(160, |t, at| timeout((40_000..if t == "carrier" { 60_000 } else { 95_000 }).contains(&at)));
    let t = only(&restart, Cause::RouterRestart);
    assert!(likely(&t, Cause::OwnLink) < 0.3, "{}", brief(&t));
}

#[test]
fn a_router_whose_count_began_anew_restarted_and_that_is_seen_not_inferred() {
    let site = || {
        let silent = Site::new(200, |t, at| timeout(beyond_lead(t) && (40_000..100_000).contains(&at)));
        silent.and(life(200, &[-5_000, 60], &[(40, 100)]))
    };
    let t = only(&site().and(mains(200, &[])), Cause::RouterRestart);
    assert!(t.confidence > 0.9, "{}", brief(&t));
    // Where nobody saw the mains, why it started anew is inferred.
    let t = only(&site(), Cause::RouterRestart);
    assert!((0.7..=0.9).contains(&t.confidence), "{}", brief(&t));
}

#[test]
fn a_router_silent_for_long_whose_count_ran_on_hung_or_is_cut_off_by_a_box_between() {
    let site = |stay: bool| {
        let left = if stay { (0, 0) } else { (300, 900) };
        Site::new(1_200, |t, at| timeout(beyond_lead(t) && (300_000..900_000).contains(&at)))
            .and(life(1_200, &[-5_000], &[(300, 900)]))
            .and(neighbours(1_200, left))
    };
    only(&site(true), Cause::RouterSilent);
    let t = only(&site(false), Cause::LanSegment);
    assert!(t.confidence > 0.6, "{}", brief(&t));
}

#[test]
fn a_router_off_for_longer_than_a_restart_with_the_mains_there_lost_its_own_power() {
    let site = Site::new(1_500, |t, at| timeout(beyond_lead(t) && (300_000..1_000_000).contains(&at)))
        .and(life(1_500, &[-5_000, 960], &[(300, 1_000)]))
        .and(mains(1_500, &[]));
    only(&site, Cause::RouterPower);
}

#[test]
fn the_same_minute_each_night_is_a_timer_and_one_age_is_a_router_that_hangs() {
    let nights = |hour_ms: i64, period_ms: i64| {
        let mut site = Site::new(7 * 86_400, move |t, at| {
            let phase = (at - hour_ms).rem_euclid(period_ms);
            timeout(beyond_lead(t) && at > hour_ms && phase < 150_000)
        });
        site.every = 30;
        site.look()
    };
    let look = nights(10_000_000, 86_400_000);
    assert_eq!(look.troubles.len(), 7);
    assert!(
        look.troubles.iter().all(|t| t.cause == Cause::RouterTimer),
        "{}",
        look.troubles.iter().map(brief).collect::<String>()
    );
    // Each 31 hours: no clock, but an age.
    let look = nights(10_000_000, 111_600_000);
    let hangs = look.troubles.iter().filter(|t| t.cause == Cause::RouterHangs).count();
    assert!(hangs >= look.troubles.len() - 1 && hangs >= 4, "{}", look.troubles.iter().map(brief).collect::<String>());
    assert!(look.troubles.iter().all(|t| t.confidence <= 0.9));
}

#[test]
fn another_gateway_and_another_subnet_at_once_are_a_swap() {
    let mut site = Site::new(400, |t, at| timeout(beyond_lead(t) && (100_000..200_000).contains(&at)));
    site.gateway = Box::new(|s| if s < 150 { 1 } else { 99 });
    site.held = Box::new(|s| {
        let other = crate::judge::HeldAddress { address: [198, 51, 100, 7].into(), ..address(7, None) };
        vec![if s < 205 { address(7, None) } else { other }]
    });
    let t = only(&site, Cause::RouterSwap);
    assert!(t.confidence > 0.7, "{}", brief(&t));
    assert_eq!(site.look().changes.len(), 2);
}

#[test]
fn an_address_whose_lease_ran_out_under_a_silent_server_was_not_renewed_and_one_taken_away_was_lost() {
    let gone = |s: i64| (500..600).contains(&s);
    let run = |run_out: bool, servers: bool| {
        let mut site = Site::new(700, move |t, at| timeout(beyond_lead(t) && t != "gw" && gone(at / 1_000)));
        site.held = Box::new(move |s| {
            let left = if run_out { 500 - s } else { 900 - s };
            if gone(s) {
                vec![]
            } else {
                vec![address(
                    7,
                    Some(
                        u32::try_from(left.max(400)).expect("small")
                            - if s < 500 { u32::try_from((left.max(400) - left).max(0)).expect("small") } else { 0 },
                    ),
                )]
            }
        });
        let round = move |s: i64| {
            let offers = vec![Lease { server: Some(ip(1)), from: Some(mac(1)), ..Lease::default() }];
            let detail = Detail::Offers { offers, discarded: 0 };
            if servers {
                said(s * 1_000, Question::Offers, "eth0", detail)
            } else {
                seen(s * 1_000, Question::Offers, "eth0", Outcome::Timeout, Detail::None)
            }
        };
        site.and([450, 520].map(round)).look()
    };
    let look = run(true, false);
    // The lease that was not renewed is told before it runs out; then the address goes.
    assert_eq!(causes(&look), ["lease-lost", "lease-lost"], "{}", look.troubles.iter().map(brief).collect::<String>());
    assert!(look.troubles[1].path_down.is_some() && look.troubles[0].path_down.is_none());
    assert_eq!(causes(&run(false, true)), ["address-lost"]);
}

#[test]
fn losses_on_the_first_hop_are_the_lans_and_with_a_weak_signal_the_radios() {
    let hop = |t: &str, at: i64| timeout(beyond_lead(t) && (100_000..160_000).contains(&at) && lossy(at));
    only(&Site::new(240, hop), Cause::LanLoss);
    let weak = (0..24).map(|i| {
        let dbm = if (9..17).contains(&i) { -84 } else { -58 };
        let radio = crate::judge::Radio { signal_dbm: Some(dbm), ..Default::default() };
        said(i * 10_000, Question::Radio, "wlan0", Detail::Radio(radio))
    });
    let look = Site::new(240, hop).and(weak).look();
    assert!(
        look.troubles.iter().all(|t| t.cause == Cause::WeakRadio) && look.troubles.len() == 2,
        "{:?}",
        causes(&look)
    );
}

#[test]
fn the_kernel_taking_the_interface_away_is_no_pulled_lead() {
    let mut site = Site::new(60, |_, _| None);
    site.more = vec![said(30_250, Question::Carrier, "eth0", Detail::Gone)];
    let look = site.look();
    assert!(causes(&look).contains(&"interface-gone"), "{}", look.troubles.iter().map(brief).collect::<String>());
}
