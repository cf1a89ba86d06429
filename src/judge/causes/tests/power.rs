//! Mains, street, battery, and the agent cut off.

use super::{brief, causes, likely, only};
use crate::judge::kit::*;
use crate::judge::{Cause, Entry, Judge, Lane, LaneState, Look};

/// The mains are gone from 300 s to 1500 s; what else goes, when.
fn failure(lead: Option<i64>, router: Option<i64>, line: Option<i64>) -> Site {
    let gone =
        move |at: i64, from: Option<i64>, back: i64| from.is_some_and(|f| (f * 1_000..back * 1_000).contains(&at));
    Site::new(2_400, move |t, at| {
        let dead = gone(at, lead, 1_530) || (beyond_lead(t) && gone(at, router, 1_600));
        timeout(dead || (outside(t) && gone(at, line, 1_620)))
    })
    .and(mains(2_400, &[(300, 1_500)]))
}

#[test]
fn with_the_mains_goes_everything_at_once_or_soon_or_only_the_street_or_nothing() {
    let t = only(&failure(Some(301), Some(301), None), Cause::SitePower);
    assert!(t.confidence > 0.8 && t.path_down.is_some(), "{}", brief(&t));
    let t = only(&failure(Some(340), Some(340), None), Cause::DeadBackup);
    assert!(t.confidence > 0.7, "{}", brief(&t));
    let t = only(&failure(None, None, Some(1_100)), Cause::StreetPower);
    assert!(t.confidence > 0.7 && likely(&t, Cause::SitePower) < 0.1, "{}", brief(&t));
    // The path went when the street went, not when the mains did.
    assert!((t.down_for(crate::judge::Moment(0)).secs() - 520.0).abs() < 3.0);
    let t = only(&failure(None, None, None), Cause::MainsLost);
    assert!(t.path_down.is_none());
}

#[test]
fn the_power_lane_has_a_state_once_somebody_tells_of_the_mains() {
    let state = |look: &Look| {
        let lane = look.lanes.iter().find(|l| l.lane == Lane::Power).expect("there");
        let spans = lane.spans.iter().map(|s| s.at_longest(look.now)).collect();
        lane.carried_between(&spans, lane.reach.map_or(look.now, |r| r.0), look.now)
    };
    assert_eq!(state(&Site::new(60, |_, _| None).look()), None);
    assert_eq!(state(&Site::new(60, |_, _| None).and(mains(60, &[])).look()), Some(true));
    assert_eq!(state(&Site::new(60, |_, _| None).and(mains(60, &[(20, 40)])).look()), Some(false));
}

/// A session cut off at 600 s and another from 1200 s to 2400 s; what the router's own count says afterwards.
fn cut(boot_id: &'static str, router_start: Option<i64>, router_back: i64, on_battery: bool) -> Look {
    let mut first = Site::new(600, |_, _| None);
    first.ends = false;
    if on_battery {
        first = first.and(mains(600, &[(590, 700)]));
    }
    let mut second = Site::new(1_200, move |t, at| timeout(beyond_lead(t) && at < router_back * 1_000));
    (second.boot_id, second.from) = (boot_id, 1_200);
    if let Some(start) = router_start {
        let told = life(2_400, &[-50_000, start], &[(600, router_back.max(1_200))]);
        second = second.and(told.into_iter().filter(|e| e.known() > crate::judge::Moment(1_200_000_000)));
        first = first.and(life(600, &[-50_000], &[]));
    }
    let mut judge = Judge::new(settings(1));
    first.entries().iter().chain(&second.entries()).for_each(|e: &Entry| judge.take(e));
    judge.look()
}

#[test]
fn an_agent_cut_off_is_named_by_what_else_fits() {
    let first = |look: &Look| look.troubles[0].clone();
    // Nothing else known: new boot id alone says power, plug or crash, and is sure of none.
    let t = first(&cut("c", None, 0, false));
    assert!(t.confidence < 0.65 && t.path_down.is_none() && t.root.oddity.state() == LaneState::Blind, "{}", brief(&t));
    for cause in [Cause::SitePower, Cause::AgentPulled, Cause::HostRestart] {
        assert!(likely(&t, cause) > 0.1, "{cause:?}");
    }
    // The router began anew in the gap and came later than this device.
    let t = first(&cut("c", Some(1_180), 1_240, false));
    assert!(t.cause == Cause::SitePower && t.confidence > 0.85 && t.confidence <= 0.9, "{}", brief(&t));
    // On battery when last heard of: seen, not inferred.
    assert!(first(&cut("c", Some(1_180), 1_240, true)).confidence > 0.9);
    // The router ran on: not the site's power.
    let t = first(&cut("c", Some(-50_000), 0, false));
    assert!(t.cause == Cause::AgentPulled && likely(&t, Cause::SitePower) < 0.05, "{}", brief(&t));
    assert!(likely(&t, Cause::HostRestart) > 0.2);
    // The same boot: the agent alone.
    let t = first(&cut("b", None, 0, false));
    assert!(t.cause == Cause::AgentStopped && t.confidence > 0.8, "{}", brief(&t));
}

#[test]
fn a_session_ended_by_intention_or_suspended_is_no_trouble() {
    let first = Site::new(600, |_, _| None);
    let mut second = Site::new(600, |_, _| None);
    (second.boot_id, second.from) = ("c", 1_200);
    let mut judge = Judge::new(settings(1));
    first.entries().iter().chain(&second.entries()).for_each(|e| judge.take(e));
    assert_eq!(causes(&judge.look()), Vec::<&str>::new());
}
