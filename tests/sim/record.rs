//! The record over simulated time: figures judged from it are the simulator's truth, and rolling old history up changes
//! nothing that is judged. `tests/bench/record.rs` runs a week and a year.

use crate::draw::Draw;
use crate::probes::{Fault, Network, settings};
use crate::rule::household;
use pathproof::judge::drill::{Act, DrillEnd, Step};
use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::{Drill, Edge, Entry, Judge, Lane, Micros, Moment, Question, Settings};
use pathproof::record::{Writer, hold, read};
use pathproof::snapshot::{Header, take};
use std::path::Path;

const SECOND: i64 = 1_000_000;

fn shipped() -> Settings {
    settings(household())
}

/// Without the requirement whose search costs seconds in a debug build.
fn quick() -> Settings {
    let set = household();
    settings(RequirementSet { require: Vec::new(), ..set })
}

/// Plays a network into a record.
fn kept(network: &Network, draw: &mut Draw, path: &Path) -> u64 {
    kept_with(network, &[], draw, path)
}

/// The same, with the marks of drills.
fn kept_with(network: &Network, marks: &[Entry], draw: &mut Draw, path: &Path) -> u64 {
    let mut writer = Writer::resume(hold(path).expect("holds"), "{}").expect("resumes");
    let mut entries = 0;
    let mut marks = marks.iter().peekable();
    network.play(draw, |e| {
        let due = std::iter::from_fn(|| marks.next_if(|m| m.known() <= e.known()).cloned());
        for e in due.chain([e.clone()]) {
            entries += 1;
            // Virtual time is faster than any disk: wait for it as no agent would.
            while !writer.keep(e.clone()) {
                std::thread::sleep(std::time::Duration::from_millis(1));
            }
        }
    });
    writer.finish().expect("written");
    entries
}

fn judged(path: &Path, settings: Settings) -> (Judge, u64) {
    let mut judge = Judge::new(settings);
    let mut entries = 0;
    let passed_over = read(path)
        .expect("opens")
        .replay(|e| {
            entries += 1;
            judge.take(e);
        })
        .expect("reads");
    assert_eq!(passed_over, 0);
    (judge, entries)
}

fn bytes(judge: &Judge) -> String {
    serde_json::to_string(&take(judge, &Header::default())).expect("a snapshot serialises")
}

/// Faults of every kind, spread over the time, each a minute or some.
fn troubled(seconds: i64, draw: &mut Draw) -> Network {
    const KINDS: [Fault; 6] = [Fault::Line, Fault::Lead, Fault::Names, Fault::Router, Fault::Lossy, Fault::Off];
    let each = seconds / 12;
    let faults = (0..12i64)
        .map(|n| {
            let from = (n * each + 60 + draw.below(each as u64 / 2) as i64) * SECOND + draw.below(1_000_000) as i64;
            (KINDS[n as usize % 6], from, from + (8 + draw.below(120) as i64) * SECOND)
        })
        .collect();
    Network { faults, loss: 0.002, ..Network::clean(seconds) }
}

#[test]
fn rolling_old_history_up_changes_nothing_that_is_judged() {
    let dir = tempfile::tempdir().expect("a directory");
    for seed in 1..=4u64 {
        let mut draw = Draw::new(seed);
        let path = dir.path().join(format!("{seed}.db"));
        let network = troubled(3 * 3_600, &mut draw);
        let entries = kept(&network, &mut draw, &path);
        let settings = if seed == 1 { shipped() } else { quick() };
        let (before, count) = judged(&path, settings.clone());
        assert_eq!(count, entries);
        let size = std::fs::metadata(&path).expect("there").len();
        let troubles = before.look().troubles.len();
        assert!(troubles >= 8, "seed {seed}: {troubles} troubles of {:?}", network.faults);

        let mut held = hold(&path).expect("holds");
        assert!(held.roll_up(Moment(i64::MAX)).expect("rolls up") >= 5);
        drop(held);
        let (after, count) = judged(&path, settings);
        assert_eq!(count, entries, "seed {seed}: every answer is still counted");
        assert_eq!(bytes(&after), bytes(&before), "seed {seed}");
        println!("seed {seed}: {entries} entries, {troubles} troubles, {size} bytes before");
    }
}

#[test]
fn rolling_up_keeps_the_marks_of_drills_and_what_they_measured() {
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("r.db");
    let at = |s: i64| Moment(s * SECOND);
    let mark = |s, step| Entry::Drill { at: at(s), step };
    let began = |drill| Step::Began { drill, needed: Some(Micros::from_secs(400)) };
    let marks = [
        mark(2_000, began(Drill::MainsOff)),
        mark(2_040, Step::Acted(Act::Off)),
        mark(2_700, Step::Acted(Act::On)),
        mark(2_760, Step::Ended(DrillEnd::Complete)),
        // In this one nothing gives out: all of it is quiet.
        mark(5_000, began(Drill::MainsOff)),
        mark(5_030, Step::Acted(Act::Off)),
        mark(5_900, Step::Acted(Act::On)),
        mark(5_950, Step::Ended(DrillEnd::Complete)),
    ];
    let faults = vec![(Fault::Line, 2_500 * SECOND, 2_720 * SECOND), (Fault::Line, 8_000 * SECOND, 8_050 * SECOND)];
    let network = Network { faults, ..Network::clean(3 * 3_600) };
    let entries = kept_with(&network, &marks, &mut Draw::new(31), &path);
    let (before, count) = judged(&path, quick());
    assert_eq!(count, entries);
    let results = before.drill_results(&before.look());
    assert_eq!(results.len(), 2);
    let lasted = |n: usize| results[n].path.expect("was seen").at_least().secs();
    assert!((455.0..=460.0).contains(&lasted(0)) && (855.0..=870.0).contains(&lasted(1)), "{results:#?}");
    let mut held = hold(&path).expect("holds");
    assert!(held.roll_up(Moment(i64::MAX)).expect("rolls up") >= 1);
    drop(held);
    let mut of_marks = Vec::new();
    read(&path).expect("opens").marks(|e| of_marks.push(e.clone())).expect("reads");
    of_marks.retain(|e| matches!(e, Entry::Drill { .. }));
    assert_eq!(of_marks, marks);
    let (after, count) = judged(&path, quick());
    assert_eq!(count, entries);
    assert_eq!(after.drill_results(&after.look()), results);
    assert_eq!(bytes(&after), bytes(&before));
}

#[test]
fn a_day_from_the_record_is_the_simulators_truth() {
    let seconds = 86_400 / 2;
    let mut draw = Draw::new(21);
    let dir = tempfile::tempdir().expect("a directory");
    let path = dir.path().join("day.db");
    let network = troubled(seconds, &mut draw);
    let entries = kept(&network, &mut draw, &path);
    truth(&network, &judged(&path, quick()).0);
    let per_entry = std::fs::metadata(&path).expect("there").len() as f64 / entries as f64;
    println!("{entries} entries, {per_entry:.1} bytes each");
    assert!(per_entry < 10.0, "{per_entry}");
}

/// Holds what was judged against what was played.
pub(crate) fn truth(network: &Network, judge: &Judge) {
    let look = judge.look();
    let cuts = |f: Fault| matches!(f, Fault::Line | Fault::Lead | Fault::Router);
    let mut outages = 0;
    for (fault, from, to) in network.faults.iter().filter(|f| cuts(f.0)) {
        let found: Vec<_> = look
            .troubles
            .iter()
            .filter_map(|t| t.path_down)
            .filter(|(start, end)| {
                start.earliest.0 <= to + 2 * SECOND && end.map_or(look.now, Edge::midpoint).0 >= *from
            })
            .collect();
        assert_eq!(found.len(), 1, "{fault:?} from {from} to {to}");
        let start = found[0].0;
        assert!(start.earliest.0 <= from + SECOND && start.latest.0 >= from - SECOND, "{fault:?} {from}: {start:?}");
        outages += 1;
    }
    let cut_short = look.troubles.iter().filter(|t| t.path_down.is_some()).count();
    assert_eq!(cut_short, outages, "none invented: {:#?}", look.troubles);
    let off: i64 = network.faults.iter().filter(|f| f.0 == Fault::Off).map(|(_, from, to)| to - from).sum();
    let unseen = network.seconds as f64 - look.observed.secs() - off as f64 / 1e6;
    assert!(unseen.abs() < 6.0 * 12.0, "{unseen} s unseen beside what was off");
    // Counts: a question a second to each, what stands beside the lanes in its own rhythm, but while off.
    let asked = network.seconds as f64 - off as f64 / 1e6;
    for (question, target, tally) in judge.tallies().iter().filter(|t| t.0.lane() != Lane::Address) {
        let each = match question {
            Question::Neighbours => 1.0 / 5.0,
            Question::Mains | Question::RouterLife | Question::Radio => 1.0 / 30.0,
            Question::Offers | Question::Portal | Question::ClockOffset | Question::Communicator => 1.0 / 60.0,
            _ if question.lane() == Lane::Link => 2.0,
            _ => 1.0,
        };
        let count = tally.asked() as f64;
        assert!((count - each * asked).abs() <= 30.0, "{question:?} {target}: {count} of {asked}");
    }
}
