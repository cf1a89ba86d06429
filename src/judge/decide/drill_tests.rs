//! Drills judged: what is measured, what is left out, and what can be said where the agent was cut off.

use super::*;
use crate::judge::decide::requirement::{Ask, Require, RequirementSet};
use crate::judge::{
    Detail, Entry, Judge, Judgement, Known, Mains, Observation, Outcome, Question, Settings, Standby, Standing, Stands,
    VerdictKind,
};

const S: i64 = 1_000_000;

fn settings(receivers: &[&str]) -> Settings {
    let require = |name: &str, ask| Require { name: name.into(), ask, source: "test".into(), tag: "choice".into() };
    Settings {
        receivers: receivers.iter().map(|r| Arc::from(*r)).collect(),
        tls_receivers: BTreeSet::new(),
        patience: Micros::from_secs(2),
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements: RequirementSet {
            name: "t".into(),
            words: String::new(),
            require: vec![
                require("watched", Ask::Coverage { at_least: 0.95 }),
                require("supervision", Ask::Supervision { interval_s: 30.0 }),
            ],
        },
        out_of_scope: Vec::new(),
        known: Known::default(),
    }
}

/// A record under the making.
struct Site {
    judge: Judge,
    receivers: Vec<&'static str>,
}

impl Site {
    fn new(receivers: &[&'static str]) -> Self {
        let mut site = Self { judge: Judge::new(settings(receivers)), receivers: receivers.to_vec() };
        site.session(0, "boot-a");
        site
    }

    fn session(&mut self, at: i64, boot: &str) {
        self.judge.take(&Entry::Began(Session {
            at: Moment(at * S),
            boot_id: boot.into(),
            boot: Micros(at * S),
            wall: WallTime(1_764_000_000 * S + at * S),
            synced: Some(true),
        }));
    }

    /// Every second from one to before another: the gateway and each receiver answer, or do not.
    fn watch(&mut self, from: i64, to: i64, up: bool) {
        self.watch_both(from, to, up, up);
    }

    fn watch_both(&mut self, from: i64, to: i64, router: bool, receivers: bool) {
        for s in from..to {
            for (question, target) in std::iter::once((Question::GatewayArp, "192.0.2.1"))
                .chain([(Question::Reference, "reference")])
                .chain(self.receivers.iter().map(|r| (Question::Connect, *r)))
            {
                let up = if question == Question::GatewayArp { router } else { receivers };
                let known = if up { s * S + 10_000 } else { (s + 2) * S };
                self.judge.take(&Entry::Seen(Observation {
                    asked: Moment(s * S),
                    known: Moment(known),
                    question,
                    target: target.into(),
                    outcome: if up { Outcome::Answered } else { Outcome::Timeout },
                    rtt: None,
                    detail: Detail::None,
                }));
            }
        }
    }

    fn mark(&mut self, at_ms: i64, step: Step) {
        self.judge.take(&Entry::Drill { at: Moment(at_ms * 1_000), step });
    }

    fn begin(&mut self, at_ms: i64, drill: Drill) {
        self.mark(at_ms, Step::Began { drill, needed: Some(Micros::from_secs(60)) });
    }

    fn end(&mut self, at: i64) {
        self.judge.take(&Entry::Ended { at: Moment(at * S), how: crate::judge::Ending::Complete });
    }

    fn results(&self) -> Vec<DrillResult> {
        self.judge.drill_results(&self.judge.look())
    }

    fn judgement(&self) -> Judgement {
        self.judge.judgement()
    }
}

fn near(got: Micros, want_s: f64) {
    assert!((got.secs() - want_s).abs() <= 1.0, "{got} is not {want_s} s within 1 s");
}

/// Mains away at 20 s, the router dead at 60 s, mains back at 80 s, the path back at 92 s, over at 100 s.
fn mains_off() -> Site {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 20, true);
    site.begin(15_000, Drill::MainsOff);
    site.mark(20_000, Step::Acted(Act::Off));
    site.watch(20, 60, true);
    site.watch(60, 80, false);
    site.mark(80_000, Step::Acted(Act::On));
    site.watch(80, 92, false);
    site.watch(94, 100, true);
    site.mark(100_000, Step::Ended(DrillEnd::Complete));
    site
}

#[test]
fn gear_path_and_return_are_timed_and_nothing_of_it_counts() {
    let mut site = mains_off();
    site.watch(100, 200, true);
    site.end(200);
    let [r] = &site.results()[..] else { panic!() };
    for lasted in [r.gear, r.path] {
        let Some(Lasted::GaveOut(l)) = lasted else { panic!("{lasted:?}") };
        near(l.middle, 40.0);
        assert!(l.least <= l.middle && l.middle <= l.most && (l.most - l.least) <= Micros::from_secs(2), "{l:?}");
    }
    near(r.back.expect("back").middle, 13.0);
    let j = site.judgement();
    assert!(j.look.troubles.is_empty() && !j.look.rehearsed.is_empty(), "{:#?}", j.look.troubles);
    assert!(j.evidence.outages.is_empty());
    // Half a minute without the path would break this set's interval; the drill's time is not asked to be watched.
    assert_eq!(j.kind, VerdictKind::KeepWatching);
    let coverage = j.held.iter().find(|h| h.require.name == "watched").expect("held");
    assert_eq!(coverage.standing, Standing::Met, "{coverage:?}");
}

#[test]
fn the_same_without_marks_is_held_against_the_path() {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 60, true);
    site.watch(60, 92, false);
    site.watch(94, 200, true);
    let j = site.judgement();
    assert_eq!((j.kind, j.as_it_is.outages.len()), (VerdictKind::MendFirst, 1));
}

#[test]
fn what_outlasts_the_drill_counts_from_its_end() {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 20, true);
    site.begin(15_000, Drill::MainsOff);
    site.mark(20_000, Step::Acted(Act::Off));
    site.watch(20, 40, false);
    site.mark(40_000, Step::Ended(DrillEnd::CutShort(CutShort::Stopped)));
    site.watch(40, 90, false);
    site.watch(92, 120, true);
    let j = site.judgement();
    assert_eq!(j.look.troubles.len(), 1);
    near(j.as_it_is.outages[0].length(outage::Reading::Middle, j.look.now), 51.0);
}

#[test]
fn a_path_that_still_carries_is_measured_as_a_least_time() {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 20, true);
    site.begin(20_000, Drill::MainsOff);
    site.mark(20_000, Step::Acted(Act::Off));
    site.watch(20, 85, true);
    site.mark(85_000, Step::Acted(Act::On));
    site.watch(85, 100, true);
    site.mark(100_000, Step::Ended(DrillEnd::Complete));
    let r = site.results().remove(0);
    let Some(Lasted::Still(t)) = r.path else { panic!("{:?}", r.path) };
    near(t, 65.0);
    assert!(t <= Micros::from_secs(65) && r.back.is_none());
}

#[test]
fn a_restart_that_goes_down_after_the_mark_is_timed_from_the_mark() {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 20, true);
    site.begin(19_000, Drill::RouterRestart);
    site.mark(20_000, Step::Acted(Act::On));
    site.watch(20, 22, true);
    site.watch(22, 50, false);
    site.watch(52, 70, true);
    site.mark(60_000, Step::Ended(DrillEnd::Complete));
    let r = site.results().remove(0);
    assert!(r.gear.is_none() && r.path.is_none(), "no want of power");
    near(r.back.expect("back").middle, 31.0);
}

#[test]
fn somebody_quicker_than_the_mark_is_measured_all_the_same() {
    // Unplugged at 30 s, plugged in and marked at 45 s, carrying again at 60 s.
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 30, true);
    site.begin(19_000, Drill::RouterRestart);
    site.watch(30, 45, false);
    site.mark(45_000, Step::Acted(Act::On));
    site.watch(45, 60, false);
    site.watch(62, 80, true);
    site.mark(70_000, Step::Ended(DrillEnd::Complete));
    near(site.results().remove(0).back.expect("back").middle, 16.0);
    // Mains gone at 30 s with no backup at all, and marked three seconds later: it lasted no time, not "still".
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 30, true);
    site.begin(19_000, Drill::MainsOff);
    site.watch(30, 33, false);
    site.mark(33_000, Step::Acted(Act::Off));
    site.watch(33, 50, false);
    let r = site.results().remove(0);
    for lasted in [r.gear, r.path] {
        assert!(matches!(lasted, Some(Lasted::GaveOut(l)) if l.most == Micros::ZERO), "{lasted:?}");
    }
    // A blip that was over before anything was taken away is none of its doing.
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 30, true);
    site.begin(19_000, Drill::MainsOff);
    site.watch(30, 40, false);
    site.watch(42, 60, true);
    site.mark(60_000, Step::Acted(Act::Off));
    site.watch(60, 90, true);
    let r = site.results().remove(0);
    assert!(matches!((r.gear, r.path), (Some(Lasted::Still(_)), Some(Lasted::Still(_)))), "{r:?}");
}

#[test]
fn what_watches_mains_says_whether_it_went() {
    let with = |lost_from: Option<i64>| {
        let mut site = Site::new(&["receiver"]);
        site.watch(0, 20, true);
        for s in 0..60 {
            let mains = Mains { present: Some(lost_from.is_none_or(|l| s < l)), ..Mains::default() };
            site.judge.take(&Entry::Seen(Observation {
                asked: Moment(s * S),
                known: Moment(s * S + 1_000),
                question: Question::Mains,
                target: "nut".into(),
                outcome: Outcome::Answered,
                rtt: None,
                detail: Detail::Mains(mains),
            }));
            if s == 19 {
                site.begin(19_000, Drill::MainsOff);
                site.mark(20_000, Step::Acted(Act::Off));
            }
        }
        site.results().remove(0).mains_seen
    };
    assert_eq!((with(Some(21)), with(None)), (Some(true), Some(false)));
    assert_eq!(mains_off().results()[0].mains_seen, None);
}

#[test]
fn an_agent_cut_off_in_a_drill_is_seen_in_the_record_and_brackets_what_it_missed() {
    // Cut off at 50 s, 30 s after mains went; back at 120 s after a new boot: the path is down by then.
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 20, true);
    site.begin(19_000, Drill::MainsOff);
    site.mark(20_000, Step::Acted(Act::Off));
    site.watch(20, 50, true);
    site.session(120, "boot-b");
    assert_eq!(site.judge.drills().open().expect("found open").away.len(), 1);
    site.watch(120, 130, false);
    site.mark(130_000, Step::Acted(Act::On));
    site.watch(130, 140, false);
    site.watch(142, 160, true);
    site.mark(155_000, Step::Ended(DrillEnd::Complete));
    site.watch(160, 170, true);
    let r = site.results().remove(0);
    let [(from, to, anew)] = r.marked.away[..] else { panic!("{:?}", r.marked.away) };
    assert!(anew && from <= Moment(50 * S) && to == Moment(120 * S));
    let Some(Lasted::GaveOut(l)) = r.path else { panic!("{:?}", r.path) };
    assert!(l.least <= Micros::from_secs(31) && l.most >= Micros::from_secs(99), "{l:?}");
    near(l.least, 29.0);
    near(r.back.expect("back").middle, 11.0);
    let j = site.judgement();
    // Its own power cut is part of the drill too.
    assert!(j.look.troubles.is_empty(), "{:#?}", j.look.troubles);
}

#[test]
fn a_drill_left_open_ends_where_it_was_last_heard_of_once_another_begins() {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 20, true);
    site.begin(10_000, Drill::MainsOff);
    site.mark(12_000, Step::Acted(Act::Off));
    site.watch(20, 30, true);
    site.session(500, "boot-a");
    site.watch(500, 510, true);
    site.begin(510_000, Drill::ReceiverPath);
    let [first, second] = site.judge.drills().all() else { panic!() };
    let (ended, how) = first.ended.expect("ended");
    assert!(ended <= Moment(31_000_000), "{ended:?}");
    assert_eq!(how, DrillEnd::CutShort(CutShort::AgentCutOff));
    assert!(second.ended.is_none());
    // Nobody saw what came after: it lasted until then, and not until the next session.
    let results = site.results();
    let Some(Lasted::Still(lasted)) = results[0].path else { panic!("{:?}", results[0].path) };
    assert!((16.0..=18.5).contains(&lasted.secs()), "{lasted}");
}

#[test]
fn a_pause_for_the_sake_of_a_drill_is_not_asked_to_have_been_watched() {
    let mut site = Site::new(&["receiver"]);
    site.watch(0, 1_000, true);
    site.end(1_000);
    let before = site.judgement();
    site.session(90_000, "boot-a");
    site.watch(90_000, 90_010, true);
    site.begin(90_010_000, Drill::CablePull);
    site.watch(90_010, 90_020, true);
    site.mark(90_020_000, Step::Ended(DrillEnd::CutShort(CutShort::Stopped)));
    site.end(90_020);
    let after = site.judgement();
    let standings = |j: &Judgement| j.held.iter().map(|h| h.standing).collect::<Vec<_>>();
    assert_eq!(standings(&before), standings(&after));
    assert_eq!(before.kind, after.kind);
}

#[test]
fn receivers_are_reached_each_for_itself() {
    let mut site = Site::new(&["a", "b"]);
    site.watch(0, 5, true);
    site.begin(5_000, Drill::ReceiverPath);
    site.watch(5, 15, true);
    site.mark(15_000, Step::Ended(DrillEnd::Complete));
    let r = site.results().remove(0);
    assert!(r.reached.len() == 2 && r.reached.iter().all(|(_, reached)| *reached), "{:?}", r.reached);
    let mut site = Site::new(&["a", "b"]);
    site.receivers = vec!["a"];
    site.watch(0, 5, true);
    for s in 0..30 {
        site.judge.take(&Entry::Seen(Observation {
            asked: Moment(s * S),
            known: Moment(s * S + 5_000),
            question: Question::Connect,
            target: "b".into(),
            outcome: Outcome::Refused,
            rtt: None,
            detail: Detail::None,
        }));
        if s == 5 {
            site.begin(5_000, Drill::ReceiverPath);
        }
        site.watch(s, s + 1, true);
    }
    site.mark(30_000, Step::Ended(DrillEnd::Complete));
    let r = site.results().remove(0);
    assert_eq!(r.reached.iter().map(|(n, ok)| (&**n, *ok)).collect::<Vec<_>>(), [("a", true), ("b", false)]);
}

#[test]
fn marks_that_make_no_sense_are_passed_over() {
    let mut site = Site::new(&["receiver"]);
    site.mark(1_000, Step::Acted(Act::Off));
    site.mark(2_000, Step::Ended(DrillEnd::Complete));
    assert!(site.judge.drills().all().is_empty());
    for n in 0..2 * MOST as i64 {
        site.begin(3_000 + n, Drill::CablePull);
        for _ in 0..3 {
            site.mark(3_000 + n, Step::Acted(Act::Off));
        }
    }
    assert_eq!(site.judge.drills().all().len(), MOST);
}

#[test]
fn standing_without_mains_decides_as_it_must() {
    let judged = |stands: Option<Stands>, broken: bool| {
        let mut site = Site::new(&["receiver"]);
        let standby = |stands| Standby { stands, needed: Micros::from_secs(14_400), holds: None, drilled: None };
        site.judge.know(Known { standby: stands.map(standby), ..Known::default() });
        site.watch(0, 100, true);
        if broken {
            site.watch_both(100, 160, true, false);
        }
        site.watch(162, 200, true);
        let j = site.judgement();
        (j.kind, site.judge.glance().kind)
    };
    let keep = VerdictKind::KeepWatching;
    assert_eq!(judged(None, false), (keep, keep));
    assert_eq!(judged(Some(Stands::LongEnough), false), (keep, keep));
    // A glance holds nothing against what must be.
    assert_eq!(judged(Some(Stands::BatteryMends), false), (VerdictKind::MendFirst, keep));
    assert_eq!(judged(Some(Stands::NoBatteryMends), false), (VerdictKind::AddCellular, keep));
    // A battery does not mend a line that breaks what is required.
    assert_eq!(judged(Some(Stands::BatteryMends), true).0, VerdictKind::AddCellular);
}
