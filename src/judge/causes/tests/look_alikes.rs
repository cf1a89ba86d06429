//! The ten look-alikes of the trade: told apart, or both named with honest confidence.

use super::{brief, likely, only};
use crate::judge::kit::*;
use crate::judge::{Cause, Entry, Judge, Trouble};

/// Told apart: the right one first, the other at most so likely.
fn apart(t: &Trouble, right: Cause, wrong: Cause, at_most: f64) {
    assert_eq!(t.cause, right, "{}", brief(t));
    assert!(likely(t, wrong) <= at_most, "{wrong:?}: {}", brief(t));
}

/// Not told apart: both named, neither surer than `at_most`.
fn both(t: &Trouble, one: Cause, other: Cause, at_most: f64) {
    let (a, b) = (likely(t, one), likely(t, other));
    assert!(a.max(b) <= at_most && a.min(b) >= 0.02, "{one:?} {a}, {other:?} {b}: {}", brief(t));
}

fn first(site: &Site) -> Trouble {
    site.look().troubles.first().expect("a trouble").clone()
}

/// Two sessions with a gap that nobody announced.
fn two(first: &Site, second: &Site) -> Trouble {
    let mut judge = Judge::new(settings(1));
    first.entries().iter().chain(&second.entries()).for_each(|e: &Entry| judge.take(e));
    judge.look().troubles.first().expect("a trouble").clone()
}

#[test]
fn router_restart_cable_pulled_switch_dead() {
    let restart =
        Site::new(200, |t, at| timeout((40_000..if t == "carrier" { 70_000 } else { 110_000 }).contains(&at)))
            .and(life(200, &[-9_000, 80], &[(40, 110)]));
    apart(&first(&restart), Cause::RouterRestart, Cause::OwnLink, 0.02);
    let pulled = Site::new(200, |_, at| timeout((40_000..80_000).contains(&at))).and(life(200, &[-9_000], &[(40, 80)]));
    apart(&first(&pulled), Cause::OwnLink, Cause::RouterRestart, 0.02);
    // The switch at the other end of the lead: to this host it is the lead, for as long as it lasts.
    both(&first(&pulled), Cause::OwnLink, Cause::LanSegment, 0.9);
    // A switch further on takes the neighbours with it and leaves the router's count alone.
    let switch = Site::new(700, |t, at| timeout(beyond_lead(t) && (100_000..500_000).contains(&at)))
        .and(life(700, &[-9_000], &[(100, 500)]))
        .and(neighbours(700, (100, 500)));
    apart(&first(&switch), Cause::LanSegment, Cause::RouterRestart, 0.05);
}

#[test]
fn access_cut_all_reference_points_filtered() {
    let cut = Site::new(120, |t, at| timeout(outside(t) && (40_000..70_000).contains(&at)));
    apart(&first(&cut), Cause::AccessLine, Cause::ReferencesFiltered, 0.02);
    let filtered = Site::new(120, |t, at| timeout(t.starts_with("ref") && (40_000..70_000).contains(&at)));
    apart(&first(&filtered), Cause::ReferencesFiltered, Cause::AccessLine, 0.02);
}

#[test]
fn site_power_router_power_only() {
    let dark = |t: &str, at: i64| timeout(beyond_lead(t) && (300_000..1_000_000).contains(&at));
    let router = || Site::new(1_500, dark).and(life(1_500, &[-9_000, 950], &[(300, 1_000)]));
    // A host with a battery of its own sees which.
    apart(&first(&router().and(mains(1_500, &[]))), Cause::RouterPower, Cause::SitePower, 0.02);
    apart(&first(&router().and(mains(1_500, &[(298, 900)]))), Cause::SitePower, Cause::RouterPower, 0.02);
    // Without one, neighbours that stayed had power; those that went may have hung on the router.
    apart(&first(&router().and(neighbours(1_500, (0, 0)))), Cause::RouterPower, Cause::SitePower, 0.1);
    both(&first(&router().and(neighbours(1_500, (305, 1_000)))), Cause::RouterPower, Cause::SitePower, 0.9);
    // Without either, both.
    both(&first(&router()), Cause::RouterPower, Cause::SitePower, 0.9);
}

#[test]
fn lease_lost_server_silent() {
    // The address taken away with time left, the server answering; and the lease run out under a silent one: `home` has
    // both as scripts. Here the pair when nobody asked for offers: the time left alone tells.
    let site = |left: u32| {
        let mut site = Site::new(200, |_, _| None);
        site.held = Box::new(move |s| {
            let left = left.saturating_sub(u32::try_from(s).expect("small"));
            if (100..150).contains(&s) { vec![] } else { vec![address(7, Some(if s < 100 { left } else { 3_600 }))] }
        });
        first(&site)
    };
    let taken = site(3_600);
    apart(&taken, Cause::AddressLost, Cause::LeaseLost, 0.1);
    let mut judge_late = site(101);
    if judge_late.cause == Cause::LeaseLost && judge_late.root.oddity == crate::judge::Oddity::LeaseNotRenewed {
        judge_late = {
            let mut site = Site::new(200, |_, _| None);
            site.held = Box::new(|s| {
                if (100..150).contains(&s) {
                    vec![]
                } else {
                    vec![address(7, Some(if s < 100 { 101 - s as u32 } else { 3_600 }))]
                }
            });
            site.look().troubles.last().expect("the loss").clone()
        };
    }
    apart(&judge_late, Cause::LeaseLost, Cause::AddressLost, 0.35);
}

#[test]
fn receiver_down_port_filtered() {
    // Silence says neither; a filter that says so does, and so does a refusal.
    both(
        &first(&Site::new(120, |t, at| timeout(t == "receiver" && at > 40_000))),
        Cause::ReceiverSilent,
        Cause::ReceiverFiltered,
        0.9,
    );
    let says = |outcome| Site::new(120, move |t, at| (t == "receiver" && at > 40_000).then_some(outcome));
    let prohibited = crate::judge::Outcome::Unreachable(crate::judge::Unreachable::Prohibited);
    apart(&first(&says(prohibited)), Cause::ReceiverFiltered, Cause::ReceiverSilent, 0.02);
    apart(&first(&says(crate::judge::Outcome::Refused)), Cause::ReceiverRefusing, Cause::ReceiverFiltered, 0.05);
}

#[test]
fn resolver_dead_names_rewritten() {
    let dead = only(&Site::new(120, |t, at| timeout(t == "resolver" && at > 40_000)), Cause::NameService);
    apart(&dead, Cause::NameService, Cause::NamesRewritten, 0.0);
    let invented = (40..120).step_by(5).map(|s| {
        let answer = crate::judge::NameAnswer { answers: 1, ..Default::default() };
        said(s * 1_000 + 210, crate::judge::Question::ControlName, "resolver", crate::judge::Detail::Name(answer))
    });
    apart(&first(&Site::new(120, |_, _| None).and(invented)), Cause::NamesRewritten, Cause::NameService, 0.0);
}

#[test]
fn bridge_dropping_access_dropping() {
    let spell = |at: i64| (100_000..160_000).contains(&at) && lossy(at);
    apart(
        &first(&Site::new(240, move |t, at| timeout(beyond_lead(t) && spell(at)))),
        Cause::LanLoss,
        Cause::LossBurst,
        0.0,
    );
    apart(
        &first(&Site::new(240, move |t, at| timeout(outside(t) && spell(at)))),
        Cause::LossBurst,
        Cause::LanLoss,
        0.05,
    );
}

#[test]
fn nightly_restart_provider_maintenance() {
    let nights = |who: fn(&str) -> bool| {
        let mut site = Site::new(6 * 86_400, move |t, at| {
            timeout(who(t) && at > 9_000_000 && (at - 9_000_000).rem_euclid(86_400_000) < 200_000)
        });
        site.every = 30;
        first(&site)
    };
    apart(&nights(beyond_lead), Cause::RouterTimer, Cause::ProviderMaintenance, 0.0);
    apart(&nights(outside), Cause::ProviderMaintenance, Cause::RouterTimer, 0.0);
}

#[test]
fn street_power_dead_backup_battery() {
    let failure = |who: fn(&str) -> bool, from: i64| {
        let site = Site::new(2_400, move |t, at| timeout(who(t) && (from * 1_000..1_600_000).contains(&at)));
        first(&site.and(mains(2_400, &[(300, 1_500)])))
    };
    apart(&failure(outside, 1_100), Cause::StreetPower, Cause::DeadBackup, 0.02);
    apart(&failure(beyond_lead, 380), Cause::DeadBackup, Cause::StreetPower, 0.02);
}

#[test]
fn agent_suspended_outage() {
    // Nothing asked is nothing known: no trouble. The same minutes with everything asked and silent are an outage.
    let mut asleep = Site::new(300, |_, _| None).entries();
    asleep.retain(|e| !(100_000_000..200_000_000).contains(&e.known().0));
    let mut judge = Judge::new(settings(1));
    for e in &asleep {
        judge.take(e);
    }
    let look = judge.look();
    assert!(look.troubles.is_empty() && look.observed.secs() < 205.0);
    only(&Site::new(300, |t, at| timeout(outside(t) && (100_000..200_000).contains(&at))), Cause::AccessLine);
    // And a host that died is a gap with a word to it.
    let mut cut = Site::new(100, |_, _| None);
    cut.ends = false;
    let mut back = Site::new(100, |_, _| None);
    (back.from, back.boot_id) = (200, "c");
    assert!(two(&cut, &back).path_down.is_none());
}
