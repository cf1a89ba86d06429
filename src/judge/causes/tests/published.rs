//! Published traces of an outage of the network and of a reboot [PADMAN16]: told apart as the study tells them.
//!
//! The study looked every four minutes from a probe behind the router; this judge wants more. What was added to a trace
//! comes from functions that say so (`invented_`), and what is asked of the judge is only what the published points say.

use crate::judge::facts::RouterLife;
use crate::judge::kit::{said, seen, settings};
use crate::judge::{Detail, Entry, Judge, Micros, Moment, NameAnswer, Outcome, Question, Session, WallTime};

const fn hms(h: i64, min: i64, s: i64) -> i64 {
    h * 3_600 + min * 60 + s
}

fn judged(entries: &[Entry]) -> Judge {
    let mut settings = settings(240);
    settings.receivers.clear();
    let mut judge = Judge::new(settings);
    let (boot_id, wall) = ("b".to_owned(), WallTime(1_420_070_400_000_000));
    judge.take(&Entry::Began(Session { at: Moment(0), boot_id, boot: Micros(0), wall, synced: None }));
    for e in entries {
        judge.take(e);
    }
    judge
}

/// Published, probe 16893, 27 January: the time of each round of three pings, how many came back, and the seconds since
/// the probe last set its clock, which grow while it runs and cannot reach the network.
const NETWORK_OUTAGE: [(i64, u32, u32); 8] = [
    (hms(9, 1, 42), 3, 86),
    (hms(9, 5, 48), 0, 151),
    (hms(9, 9, 45), 0, 388),
    (hms(9, 13, 36), 0, 619),
    (hms(9, 17, 49), 0, 872),
    (hms(9, 21, 40), 0, 1_103),
    (hms(9, 25, 39), 3, 1_342),
    (hms(9, 29, 36), 3, 146),
];

/// Published, probe 206, 1 January: the time of each report and the seconds since the probe's start that it counted.
const REBOOT: [(i64, u64); 5] = [
    (hms(3, 15, 18), 262_531),
    (hms(17, 50, 26), 315_038),
    (hms(17, 50, 55), 19),
    (hms(17, 53, 59), 203),
    (hms(18, 59, 44), 4_147),
];

/// Invented: whom the three pings of a round asked, and that what they were was a question of names.
fn invented_references(at: i64, back: u32) -> Vec<Entry> {
    let answer = || Detail::Name(NameAnswer { answers: 1, ..NameAnswer::default() });
    let one = |(i, reference): (i64, &str)| {
        let ms = at * 1_000 + i;
        if back == 3 {
            said(ms, Question::Reference, reference, answer())
        } else {
            seen(ms, Question::Reference, reference, Outcome::Timeout, Detail::None)
        }
    };
    (0..).zip(["ref-a", "ref-b", "ref-c"]).map(one).collect()
}

/// Invented: a gateway that answers in every round. The study has the probe's own counter instead, which ran on.
fn invented_gateway(at: i64) -> Vec<Entry> {
    (0..3).map(|i| said(at * 1_000 + i, Question::GatewayEcho, "gw", Detail::None)).collect()
}

/// Invented: a gateway asked every four seconds for ten minutes, silent between the two published reports around the
/// reboot. The study says only that pings around it are missing.
fn invented_silence() -> Vec<Entry> {
    let ask = |s: i64| {
        let silent = (REBOOT[1].0 + 1..REBOOT[2].0 - 3).contains(&s);
        let outcome = if silent { Outcome::Timeout } else { Outcome::Answered };
        seen(s * 1_000, Question::GatewayEcho, "gw", outcome, Detail::None)
    };
    (hms(17, 46, 0)..hms(17, 56, 0)).step_by(4).map(ask).collect()
}

#[test]
fn the_published_network_outage_lies_within_the_edges_and_is_no_loss_of_power() {
    let counters: Vec<u32> = NETWORK_OUTAGE[..7].iter().map(|(.., counter)| *counter).collect();
    assert!(counters.is_sorted(), "the probe ran all along, so it was not its power");
    let rounds = NETWORK_OUTAGE.iter();
    let entries: Vec<Entry> =
        rounds.flat_map(|&(at, back, _)| [invented_references(at, back), invented_gateway(at)].concat()).collect();
    let look = judged(&entries).look();
    assert_eq!(look.troubles.len(), 1, "{:#?}", look.troubles);
    let t = &look.troubles[0];
    assert_eq!(t.cause.word(), "access-line");
    let (start, end) = (t.root.start, t.root.end.expect("over"));
    // 09:05:48 to 09:21:40 in the paper: the first and the last round of pings lost.
    assert_eq!(start.latest.secs() as i64, hms(9, 5, 48));
    assert_eq!(end.earliest.secs() as i64, hms(9, 21, 40));
    assert_eq!((start.earliest.secs() as i64, end.latest.secs() as i64), (hms(9, 1, 42), hms(9, 25, 39)));
}

#[test]
fn the_published_counter_dates_the_reboot_by_itself() {
    let reports = REBOOT.map(|(at, up_s)| {
        let life = RouterLife { up_s: Some(up_s), ..RouterLife::default() };
        said(at * 1_000, Question::RouterLife, "router", Detail::RouterLife(life))
    });
    // Only published points: one restart, 17:50:36 in the paper.
    let judge = judged(&reports);
    let restarts = judge.power().restarts(false);
    assert_eq!(restarts.len(), 1, "{restarts:?}");
    assert!((restarts[0].secs() as i64 - hms(17, 50, 36)).abs() <= 2);
    // With the invented silence around it the silence is a restart of the router.
    let mut entries: Vec<Entry> = reports.into_iter().chain(invented_silence()).collect();
    entries.sort_by_key(Entry::known);
    let look = judged(&entries).look();
    assert_eq!(look.troubles.iter().map(|t| t.cause.word()).collect::<Vec<_>>(), ["router-restart"]);
    // The counter shows that it restarted; nobody watched the mains.
    assert!((0.7..=0.9).contains(&look.troubles[0].confidence));
}
