//! What a lane keeps: capped, or grown by silences and pauses alone, however long it watches and whatever a record holds.

use super::*;
use crate::judge::lanes::waiting::MOST_WAITING;
use proptest::prelude::*;

const SECOND: i64 = 1_000_000;

fn lane() -> LaneTracker {
    LaneTracker::new(Lane::Outside, Micros::from_secs(5), Micros::from_secs(2))
}

fn ask(lane: &mut LaneTracker, target: &Arc<str>, asked: i64, good: bool) {
    let outcome = if good { Outcome::Answered } else { Outcome::Timeout };
    let known = Moment(asked + if good { 10_000 } else { 2 * SECOND });
    lane.queue_as(Question::Reference, target, Sample { asked: Moment(asked), known, good, outcome });
    lane.advance(Moment(asked + 2 * SECOND));
}

#[test]
fn what_is_kept_grows_with_silences_and_not_with_time() {
    let names: Vec<Arc<str>> = (0..4).map(|n| format!("ref-{n}").into()).collect();
    let mut lane = lane();
    // Each silence begins and ends four seconds from a single loss, so that they are no part of it.
    let (seconds, silent) = (100_000, [5_002, 90_003]);
    let (mut breaks, mut most_waiting) = (0, 0);
    for second in 0..seconds {
        for (i, name) in (0..).zip(&names) {
            let down = silent.iter().any(|from| (*from..from + 27).contains(&second));
            let single = i == second % 4 && second % 7 == 0;
            breaks += usize::from(single);
            ask(&mut lane, name, second * SECOND + i * 200_000, !down && !single);
            most_waiting = most_waiting.max(lane.waiting.len());
        }
    }
    assert!(breaks > 6 * runs::MOST_RUNS_OF_ANSWERS, "{breaks}");
    assert!(lane.past.answers.len() <= runs::MOST_RUNS_OF_ANSWERS && most_waiting <= 20, "{most_waiting}");
    assert!(lane.past.spans.iter().all(|s| s.oddity == Oddity::Silent), "{:?}", lane.past.spans);
    assert_eq!((lane.past.spans.len(), lane.past.blind.len(), lane.targets.len()), (silent.len(), 0, 4));
    // Long ago is not forgotten: nothing was answered in the first silence, and things were just after it.
    let record = lane.settled().into_record();
    let now = Moment(seconds * SECOND);
    assert!(!record.answered_inside(&record.spans[0], now));
    let at = |second| Moment(second * SECOND);
    assert!(record.answered_between(at(5_040), at(5_060)) && record.answered_between(at(4_900), at(4_990)));
}

#[test]
fn a_silence_is_one_however_often_a_stray_answer_comes() {
    let name = Arc::<str>::from("ref");
    // One answer in `every` for an hour.
    let silence = |every: i64| {
        let mut lane = lane();
        for second in 0..4_000 {
            let down = (200..3_800).contains(&second);
            ask(&mut lane, &name, second * SECOND, !down || second % every == 0);
        }
        let spans = lane.settled().into_record().spans;
        assert_eq!(spans.len(), 1, "{spans:?}");
        spans[0].clone()
    };
    assert_eq!(silence(12).oddity, Oddity::Silent);
    // From one in ten on it is a burst; up to one in five nothing can be counted on.
    let (eight, four) = (silence(8), silence(4));
    assert_eq!((&eight.oddity, &four.oddity), (&Oddity::LossBurst, &Oddity::LossBurst));
    assert!(eight.is_mostly_lost() && !four.is_mostly_lost());
}

#[test]
fn a_few_losses_in_a_row_where_a_burst_begins_are_the_bursts() {
    let name = Arc::<str>::from("ref");
    // Silent for so many seconds, then two in three lost for half a minute.
    let oddities = |silent: i64| {
        let mut lane = lane();
        for second in 0..200 {
            let lost = (50..50 + silent).contains(&second) || (60..90).contains(&second) && second % 3 != 0;
            ask(&mut lane, &name, second * SECOND, !lost);
        }
        lane.settled().into_record().spans.iter().map(|s| s.oddity.clone()).collect::<Vec<_>>()
    };
    assert_eq!(oddities(3), [Oddity::LossBurst]);
    assert_eq!(oddities(6), [Oddity::Silent, Oddity::LossBurst]);
}

#[test]
fn targets_are_capped_and_one_no_longer_asked_gives_its_place() {
    let name = |n: i64| Arc::<str>::from(format!("ref-{n}"));
    let mut lane = lane();
    // One answers, then stops and is called missing; one is asked on and on.
    for second in 0..40 {
        ask(&mut lane, &name(0), second * SECOND, second < 10);
        ask(&mut lane, &name(1), second * SECOND + 500_000, true);
    }
    for n in 2..1_000 {
        ask(&mut lane, &name(n), (40 + n) * SECOND, true);
        ask(&mut lane, &name(1), (40 + n) * SECOND + 500_000, true);
        assert!(lane.targets.len() <= Roster::MOST);
    }
    assert_eq!(lane.targets.len(), Roster::MOST);
    assert!(lane.roster.place(Question::Reference, &name(1)).is_some());
    assert!(lane.roster.place(Question::Reference, &name(0)).is_none());
    let missing: Vec<_> = lane.past.spans.iter().map(|s| (s.oddity.clone(), s.end.is_some())).collect();
    assert_eq!(missing, [(Oddity::TargetMissing(name(0)), true)]);
    assert!(!lane.is_off());
}

#[test]
fn a_flood_at_one_moment_does_not_wait_without_bound() {
    let mut lane = lane();
    for n in 0..3 * MOST_WAITING {
        let target = Arc::from(format!("ref-{n}"));
        lane.queue_as(
            Question::Reference,
            &target,
            Sample { asked: Moment(0), known: Moment(0), good: true, outcome: Outcome::Answered },
        );
        lane.queue_as(
            Question::Reference,
            &"ref-0".into(),
            Sample { asked: Moment(0), known: Moment(0), good: true, outcome: Outcome::Answered },
        );
    }
    assert!(lane.waiting.len() <= MOST_WAITING && lane.targets.len() <= Roster::MOST);
}

proptest! {
    #[test]
    fn is_off_says_what_the_settled_lane_says(goods in prop::collection::vec((0i64..3, prop::bool::weighted(0.6)), 1..120)) {
        let names: Vec<Arc<str>> = (0..3).map(|n| format!("ref-{n}").into()).collect();
        let mut lane = lane();
        for (at, (who, good)) in (0..).zip(goods) {
            ask(&mut lane, &names[who as usize], at * 400_000, good);
            prop_assert_eq!(lane.is_off(), lane.settled().past.spans.iter().any(|s| s.end.is_none()));
        }
    }

    #[test]
    fn runs_are_searched_as_if_read_one_by_one(
        lengths in prop::collection::vec((1i64..30, 0i64..30), 0..20), from in 0i64..400, wide in 0i64..60
    ) {
        // The plain reading: an end of a run lies within, or a run spans more than ten seconds.
        let mut at = 0;
        let mut answers = Vec::new();
        for (pause, length) in lengths {
            answers.push((Moment((at + pause) * SECOND), Moment((at + pause + length) * SECOND)));
            at += pause + length;
        }
        let (from, to) = (Moment(from * SECOND), Moment((from + wide) * SECOND));
        let within = |m: Moment| from <= m && m <= to;
        let plain = answers.iter().any(|(a, b)| {
            within(*a) || within(*b) || (*a < from && to < *b && to - from > Micros::from_secs(10))
        });
        let record = LaneRecord { lane: Lane::Outside, spans: vec![], reach: None, blind: vec![], answers, patches: vec![], two_turns: Micros::from_secs(10) };
        prop_assert_eq!(record.answered_between(from, to), plain);
    }
}

#[test]
fn a_doubt_is_over_with_the_third_answer() {
    let (mut lane, name) = (lane(), Arc::<str>::from("ref"));
    for second in 0..10 {
        ask(&mut lane, &name, second * SECOND, second != 6);
        assert_eq!(lane.is_in_doubt(), (6..9).contains(&second), "{second}");
    }
}

#[test]
fn a_connection_that_failed_was_bad_when_the_kernel_asked_again() {
    let (mut lane, name) = (LaneTracker::new(Lane::Receiver, Micros::from_secs(30), Micros::from_secs(2)), "r".into());
    for second in (0..300).step_by(10) {
        let good = !(100..200).contains(&second);
        let outcome = if good { Outcome::Answered } else { Outcome::Timeout };
        let known = Moment(second * SECOND + if good { 10_000 } else { 2 * SECOND });
        lane.queue_as(Question::Connect, &name, Sample { asked: Moment(second * SECOND), known, good, outcome });
    }
    let spans = lane.settled().into_record().spans;
    // Asked last in second 190, and once more a second later (RFC 6298, section 2).
    assert_eq!(spans.len(), 1, "{spans:?}");
    assert_eq!(spans[0].end.map(|e| e.earliest), Some(Moment(191 * SECOND)));
}

#[test]
fn who_fails_while_another_answers_twice_is_not_missing_yet() {
    let [a, b] = ["ref-a", "ref-b"].map(Arc::<str>::from);
    let missing = |answers: i64| {
        let mut lane = lane();
        for second in 0..40 {
            ask(&mut lane, &a, second * SECOND, !(20..24).contains(&second));
            if !(20..24).contains(&second) || second - 20 < answers {
                ask(&mut lane, &b, second * SECOND + 500_000, true);
            }
        }
        lane.settled().into_record().spans.iter().any(|s| matches!(s.oddity, Oddity::TargetMissing(_)))
    };
    assert!(missing(4) && !missing(2));
}

#[test]
fn a_patch_is_a_tenth_lost_of_what_was_asked() {
    let at = |s: i64| Moment(s * SECOND);
    let kept = |lost, answered| {
        let mut patches = Vec::new();
        runs::keep_patch(&mut patches, (lost, answered), at(0), at(1));
        patches.len()
    };
    assert_eq!((kept(5, 45), kept(5, 46), kept(4, 4)), (1, 0, 0));
}
