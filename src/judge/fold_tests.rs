//! The fold as scripts of answers and times, and streaming against a plain batch reading.

use super::*;
use crate::judge::Oddity;
use crate::judge::kit::{MS, Site, ip, outside, read_again, settings, written};
use crate::judge::{Lease, Mac, NameAnswer, Sign, VerdictKind};
use proptest::prelude::*;

/// What the world does at a moment (ms): true where the named thing answers.
pub(crate) type World = fn(&str, i64) -> Option<Outcome>;

/// Plays `seconds` of a world through probes at 1 s, as the agent would see it: failures known after the patience.
pub(crate) fn play(seconds: i64, world: World) -> Vec<Entry> {
    Site::new(seconds, world).entries()
}

pub(crate) fn plain(at: i64, question: Question, detail: Detail) -> Observation {
    let at = Moment(at * MS);
    Observation { asked: at, known: at, question, target: "eth0".into(), outcome: Outcome::Answered, rtt: None, detail }
}

pub(crate) fn judged(entries: &[Entry]) -> Judge {
    let mut judge = Judge::new(settings(1));
    for e in entries {
        judge.take(e);
    }
    judge
}

pub(crate) fn causes(entries: &[Entry]) -> Vec<&'static str> {
    judged(entries).look().troubles.iter().map(|t| t.cause.word()).collect()
}

#[test]
fn a_clean_two_minutes_is_keep_watching_with_a_need_and_nothing_invented() {
    let judge = judged(&play(120, |_, _| None));
    let j = judge.judgement();
    assert_eq!((j.kind, j.look.troubles.len()), (VerdictKind::KeepWatching, 0));
    // Nothing is known of the line: its kind, and a quiet week or more, may turn the choice.
    assert!(j.decided.further.expect("says what").kind_of_line);
    assert!((6.0..=90.0).contains(&(j.needs.expect("says how long").secs() / 86_400.0)));
    assert!(j.look.observed.secs() > 117.0);
}

#[test]
fn the_access_line_cut_is_named_with_its_edges_and_is_an_outage() {
    let world: World = |t, at| (outside(t) && (40_000..52_000).contains(&at)).then_some(Outcome::Timeout);
    let look = judged(&play(90, world)).look();
    assert_eq!(look.troubles.len(), 1, "{:?}", look.troubles);
    let t = &look.troubles[0];
    assert_eq!(t.cause.word(), "access-line");
    assert!((t.root.start.midpoint().secs() - 40.0).abs() < 0.5 && (t.root.end_or(look.now).secs() - 52.0).abs() < 0.5);
    assert!((t.down_for(look.now).secs() - 12.0).abs() < 1.0);
}

#[test]
fn a_cut_longer_than_the_retries_argues_for_cellular_and_a_short_one_does_not_yet() {
    let long: World = |t, at| (outside(t) && (40_000..120_000).contains(&at)).then_some(Outcome::Timeout);
    assert_eq!(judged(&play(180, long)).judgement().kind, VerdictKind::AddCellular);
    let short: World = |t, at| (outside(t) && (40_000..60_000).contains(&at)).then_some(Outcome::Timeout);
    assert_eq!(judged(&play(180, short)).judgement().kind, VerdictKind::KeepWatching);
}

#[test]
fn faults_are_told_apart_inside_out() {
    let cases: [(&str, World); 5] = [
        ("own-link", |_, at| (30_000..31_600).contains(&at).then_some(Outcome::Timeout)),
        ("router-restart", |t, at| (t != "carrier" && (30_000..38_000).contains(&at)).then_some(Outcome::Timeout)),
        ("name-service", |t, at| (t == "resolver" && (30_000..40_000).contains(&at)).then_some(Outcome::Timeout)),
        ("receiver-refusing", |t, at| (t == "receiver" && (30_000..40_000).contains(&at)).then_some(Outcome::Refused)),
        ("target-missing", |t, at| (t == "ref-b" && (30_000..50_000).contains(&at)).then_some(Outcome::Timeout)),
    ];
    for (cause, world) in cases {
        assert_eq!(causes(&play(90, world)), [cause]);
    }
}

#[test]
fn a_refusal_during_a_cut_line_stays_the_stations() {
    // The receiver answers with a refusal: that is no silence of the line, whatever the reference points do.
    let world: World = |t, at| match t {
        "receiver" if (30_000..60_000).contains(&at) => Some(Outcome::Refused),
        t if t.starts_with("ref") && (30_000..60_000).contains(&at) => Some(Outcome::Timeout),
        _ => None,
    };
    assert!(causes(&play(90, world)).contains(&"receiver-refusing"));
}

#[test]
fn heavy_losses_are_a_burst_and_single_ones_are_nothing() {
    let burst: World = |t, at| {
        let lost = (at / 333) % 4 != 1;
        (outside(t) && (30_000..39_000).contains(&at) && lost).then_some(Outcome::Timeout)
    };
    assert_eq!(causes(&play(90, burst)), ["loss-burst"]);
    // Two bursts with a few quiet seconds between are one; with half a minute between, two.
    let twice = |second: i64| {
        let mut entries = play(120, |_, _| None);
        for e in &mut entries {
            if let Entry::Seen(o) = e
                && outside(&o.target)
                && [20_000, second].iter().any(|from| (from * MS..(from + 9_000) * MS).contains(&o.asked.0))
                && (o.asked.0 / (333 * MS)) % 4 != 1
            {
                (o.outcome, o.known) = (Outcome::Timeout, o.asked + Micros::from_secs(2));
            }
        }
        entries.sort_by_key(Entry::known);
        causes(&entries).len()
    };
    assert_eq!((twice(34_000), twice(60_000)), (1, 2));
    let single: World = |t, at| (outside(t) && at % 50_000 < 500).then_some(Outcome::Timeout);
    assert_eq!(causes(&play(300, single)), Vec::<&str>::new());
}

#[test]
fn a_router_that_never_answers_echo_is_a_fact_not_a_fault() {
    let mut entries = play(90, |_, _| None);
    for e in &mut entries {
        if let Entry::Seen(o) = e
            && o.question == Question::GatewayEcho
        {
            (o.outcome, o.known) = (Outcome::Timeout, o.asked + Micros::from_secs(2));
        }
    }
    entries.sort_by_key(Entry::known);
    let look = judged(&entries).look();
    assert!(look.troubles.is_empty(), "{:?}", look.troubles);
    assert_eq!(look.never_answered, [(Question::GatewayEcho, "gw".to_owned())]);
}

#[test]
fn a_pause_is_blind_and_neither_good_nor_bad() {
    let mut entries = play(120, |_, _| None);
    entries.retain(|e| !(Moment(40_000_000)..Moment(80_000_000)).contains(&e.known()));
    let look = judged(&entries).look();
    assert!(look.troubles.is_empty());
    assert!((look.observed.secs() - 80.0).abs() < 2.5, "{}", look.observed.secs());
}

#[test]
fn an_outage_running_into_a_pause_ends_somewhere_in_it() {
    let cut: World = |t, at| (outside(t) && (30_000..70_000).contains(&at)).then_some(Outcome::Timeout);
    let mut entries = play(120, cut);
    entries.retain(|e| !(Moment(42_000_000)..Moment(80_000_000)).contains(&e.known()));
    let look = judged(&entries).look();
    let t = look.troubles.iter().find(|t| t.root.lane == Lane::Outside).expect("seen");
    let end = t.root.end.expect("over");
    assert!(end.earliest.secs() < 42.0 && end.latest.secs() > 75.0, "{end:?}");
}

#[test]
fn a_second_address_server_stands_beside_everything_else() {
    let mut entries = play(60, |_, _| None);
    for (at, servers) in [(10, 1), (20, 2), (30, 2), (40, 2), (50, 2)] {
        let offers = (1..=servers)
            .map(|n| Lease { server: Some(ip(n)), from: Some(Mac([2, 0, 0, 0, 0, n])), ..Lease::default() })
            .collect();
        entries.push(Entry::Seen(plain(at * 1_000, Question::Offers, Detail::Offers { offers, discarded: 0 })));
    }
    entries.sort_by_key(Entry::known);
    let j = judged(&entries).judgement();
    assert_eq!(j.kind, VerdictKind::MendFirst);
    assert_eq!(j.look.troubles[0].cause.word(), "second-address-server");
}

/// A plain reading of the whole: a lane is silent between the answer before and the answer after every run in which
/// nothing of it answered for `CLEAR_AFTER` and at least three questions. Written without the tracker.
fn silent_runs(entries: &[Entry], lane: Lane) -> Vec<(Moment, Moment)> {
    let mut samples: Vec<&Observation> = entries
        .iter()
        .filter_map(|e| if let Entry::Seen(o) = e { Some(o) } else { None })
        .filter(|o| o.lane() == lane && o.outcome.was_asked())
        .collect();
    samples.sort_by_key(|o| o.asked);
    let mut runs = Vec::new();
    let mut run: Vec<&Observation> = Vec::new();
    for o in samples {
        if o.outcome == Outcome::Answered {
            if run.len() >= 3 {
                runs.push((run[0].asked, run[run.len() - 1].asked));
            }
            run.clear();
        } else {
            run.push(o);
        }
    }
    runs
}

proptest! {
    /// Entries of one moment may reach the judge in any order; and however it is cut into looks, the end is the same.
    #[test]
    fn streaming_equals_batch(
        cuts in prop::collection::vec((10_000i64..100_000, 4_000i64..15_000), 1..4),
        looks in prop::collection::vec(0usize..600, 0..5),
    ) {
        // Cuts far enough apart that each stands alone, clear time included.
        let mut cuts = cuts;
        cuts.sort_unstable();
        cuts.dedup_by(|b, a| b.0 < a.0 + a.1 + 8_000);
        let mut entries = play(130, |_, _| None);
        for e in &mut entries {
            if let Entry::Seen(o) = e
                && outside(&o.target)
                && cuts.iter().any(|(from, len)| (from * MS..(from + len) * MS).contains(&o.asked.0))
            {
                (o.outcome, o.known) = (Outcome::Timeout, o.asked + Micros::from_secs(2));
            }
        }
        entries.sort_by_key(Entry::known);
        let mut streaming = Judge::new(settings(1));
        for (i, e) in entries.iter().enumerate() {
            streaming.take(e);
            if looks.contains(&i) {
                let _ = streaming.look();
                // Written down and read again it is the same judge.
                streaming = read_again(&streaming);
            }
        }
        prop_assert!(written(&streaming) == written(&judged(&entries)));
        let look = streaming.look();
        prop_assert_eq!(format!("{look:?}"), format!("{:?}", judged(&entries).look()));
        let seen: Vec<(Moment, Moment)> = look.troubles.iter().filter(|t| t.root.lane == Lane::Outside)
            .map(|t| (t.root.start.latest, t.root.end.expect("ended").earliest)).collect();
        prop_assert_eq!(seen, silent_runs(&entries, Lane::Outside));
        prop_assert!(look.troubles.iter().all(|t| t.cause.word() == "access-line"));
    }
}

/// A second target of a lane beside the usual one, answering as the world says of it.
fn with_another(seconds: i64, question: Question, name: &str, world: World) -> Vec<Entry> {
    let mut entries = play(seconds, |_, _| None);
    for second in 0..seconds {
        let asked = Moment((second * 1_000 + 300) * MS);
        let outcome = world(name, second * 1_000 + 300).unwrap_or(Outcome::Answered);
        let wait = if matches!(outcome, Outcome::Answered | Outcome::Refused) { 12 } else { 2_000 };
        let known = asked + Micros::from_millis(wait);
        let detail = match (question, outcome) {
            (Question::Name, Outcome::Answered) => Detail::Name(NameAnswer { answers: 1, ..NameAnswer::default() }),
            _ => Detail::None,
        };
        let seen = Observation { asked, known, question, target: name.into(), outcome, rtt: None, detail };
        if known <= Moment(seconds * 1_000 * MS) {
            entries.push(Entry::Seen(seen));
        }
    }
    entries.sort_by_key(Entry::known);
    entries
}

#[test]
fn one_receiver_or_resolver_of_two_that_fails_is_named_with_what_it_said() {
    let refuses: World = |_, at| (at >= 30_000).then_some(Outcome::Refused);
    let look = judged(&with_another(90, Question::Connect, "receiver-b", refuses)).look();
    let t = &look.troubles[0];
    assert_eq!((look.troubles.len(), t.cause.word()), (1, "one-receiver"));
    assert_eq!(t.root.failures.keys().collect::<Vec<_>>(), [&Outcome::Refused]);
    assert!(t.path_down.is_none() && t.cause.mendable());
    // From the first look as well: a receiver that never accepts is a trouble, not a filter.
    assert_eq!(
        causes(&with_another(90, Question::Connect, "receiver-b", |_, _| Some(Outcome::Refused))),
        ["one-receiver"]
    );
    assert_eq!(
        causes(&with_another(90, Question::Name, "resolver-b", |_, _| Some(Outcome::Timeout))),
        ["one-resolver"]
    );
}

#[test]
fn a_target_that_never_answers_does_not_hide_the_next_one_that_fails() {
    let mut entries = with_another(120, Question::Connect, "receiver-b", |_, _| Some(Outcome::Timeout));
    let third = with_another(120, Question::Connect, "receiver-c", |_, at| (at >= 60_000).then_some(Outcome::Refused));
    entries.extend(third.into_iter().filter(|e| matches!(e, Entry::Seen(o) if &*o.target == "receiver-c")));
    entries.sort_by_key(Entry::known);
    let look = judged(&entries).look();
    let missing: Vec<_> = look.troubles.iter().map(|t| (t.cause.word(), t.root.oddity.clone())).collect();
    assert_eq!(
        missing,
        [
            ("one-receiver", Oddity::TargetMissing("receiver-b".into())),
            ("one-receiver", Oddity::TargetMissing("receiver-c".into()))
        ]
    );
}

#[test]
fn a_missing_default_route_is_no_outage_while_the_receiver_answers() {
    let mut entries = play(60, |_, _| None);
    for e in &mut entries {
        if let Entry::Seen(Observation { detail: Detail::OwnAddress { gateway, .. }, .. }) = e {
            *gateway = None;
        }
    }
    let look = judged(&entries).look();
    let t = &look.troubles[0];
    assert_eq!((t.cause.word(), t.path_down.is_none()), ("route-lost", true));
    assert!(t.clues.iter().any(|c| c.sign == Sign::ReceiverAnswered && c.holds), "{:?}", t.clues);
}

#[test]
fn a_receiver_whose_name_fails_with_the_resolver_is_an_outage_of_names() {
    let mut entries = play(90, |t, at| (t == "resolver" && at >= 30_000).then_some(Outcome::Timeout));
    for e in &mut entries {
        if let Entry::Seen(o) = e
            && o.question == Question::Connect
            && o.asked >= Moment(30_000 * MS)
        {
            o.outcome = Outcome::NotAsked(NotAsked::Unresolved);
        }
    }
    let look = judged(&entries).look();
    assert_eq!(look.troubles.iter().map(|t| t.cause.word()).collect::<Vec<_>>(), ["name-service"]);
    assert!(look.troubles[0].path_down.is_some());
    // With every other name fine, it is the receiver's name that is wrong.
    for e in &mut entries {
        if let Entry::Seen(o) = e
            && o.question == Question::Name
        {
            (o.outcome, o.known) = (Outcome::Answered, o.asked);
        }
    }
    entries.sort_by_key(Entry::known);
    assert_eq!(causes(&entries), ["receiver-unresolved"]);
}

#[test]
fn random_loss_of_any_size_up_to_a_tenth_is_no_trouble() {
    for (lost_in, seed) in [(100, 1_u64), (33, 2), (20, 3), (10, 4)] {
        let mut entries = play(3_600, |_, _| None);
        // Own small generator (Knuth's MMIX constants [KNUTH97]): the judge itself has no random source.
        let mut state = seed;
        for e in &mut entries {
            if let Entry::Seen(o) = e
                && matches!(o.question.lane(), Lane::Router | Lane::Names | Lane::Outside | Lane::Receiver)
            {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                if (state >> 33) % lost_in == 0 {
                    (o.outcome, o.known) = (Outcome::Timeout, o.asked + Micros::from_secs(2));
                }
            }
        }
        entries.sort_by_key(Entry::known);
        assert_eq!(causes(&entries), Vec::<&str>::new(), "one in {lost_in}");
    }
}

#[test]
fn names_and_starts_without_end_are_kept_only_up_to_their_caps() {
    let mut judge = Judge::new(settings(1));
    for n in 0..5_000i64 {
        let at = Moment(n * 1_000 * MS);
        judge.take(&Entry::Began(Session {
            at,
            boot_id: format!("b{n}"),
            boot: Micros(0),
            wall: WallTime(at.0),
            synced: None,
        }));
        for question in [Question::Lease, Question::Reference] {
            judge.take(&Entry::Seen(Observation {
                asked: at,
                known: at,
                question,
                target: format!("t{n}").into(),
                outcome: Outcome::Answered,
                rtt: None,
                detail: Detail::Why("long".repeat(100)),
            }));
        }
    }
    assert!(judge.sessions().len() <= MOST_SESSIONS);
    assert_eq!(judge.sessions().last().map(|s| s.boot_id.as_str()), Some("b4999"));
    assert_eq!(judge.tallies().iter().count(), crate::judge::lanes::roster::Roster::MOST);
    assert!(judge.last_details().count() <= crate::judge::lanes::roster::Roster::MOST);
}

#[test]
fn lengths_off_a_hostile_record_do_not_wrap() {
    let span = (Moment(i64::MIN), Moment(i64::MAX));
    assert_eq!(stretches::total(&[span, span]), Micros(i64::MAX));
    let mut look = judged(&play(60, |t, at| (t != "gw" && at >= 20_000).then_some(Outcome::Timeout))).look();
    let t = look.troubles.iter().find(|t| t.path_down.is_some()).expect("an outage").clone();
    look.troubles =
        vec![crate::judge::Trouble { path_down: Some((crate::judge::Edge::exact(Moment(0)), None)), ..t }; 3];
    look.now = Moment(i64::MAX);
    assert_eq!(look.down_by()[&look.troubles[0].cause], Micros(i64::MAX));
}
