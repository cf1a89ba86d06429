//! Published traces of an outage of the network and of a reboot (Padmanabhan et al., IMC 2016,
//! doi 10.1145/2987443.2987461; facts/power 5.1): told apart as the study tells them.

use crate::judge::facts::observation::RouterLife;
use crate::judge::kit::{said, seen, settings};
use crate::judge::{Detail, Entry, Judge, Micros, Moment, NameAnswer, Outcome, Question, Session, WallTime};

fn hms(h: i64, min: i64, s: i64) -> i64 {
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

#[test]
fn the_published_network_outage_lies_within_the_edges_and_is_no_loss_of_power() {
    // Probe 16893, 27 January: the time, how many of three pings came back. The host's own counter grew all along.
    let trace = [
        (hms(9, 1, 42), 3),
        (hms(9, 5, 48), 0),
        (hms(9, 9, 45), 0),
        (hms(9, 13, 36), 0),
        (hms(9, 17, 49), 0),
        (hms(9, 21, 40), 0),
        (hms(9, 25, 39), 3),
        (hms(9, 29, 36), 3),
    ];
    let mut entries = Vec::new();
    for (at, back) in trace {
        for ping in 0..3 {
            let answer = Detail::Name(NameAnswer { answers: 1, ..NameAnswer::default() });
            let ms = at * 1_000 + ping;
            let reference = ["ref-a", "ref-b", "ref-c"][ping as usize];
            entries.push(if back == 3 {
                said(ms, Question::Reference, reference, answer)
            } else {
                seen(ms, Question::Reference, reference, Outcome::Timeout, Detail::None)
            });
            entries.push(said(ms, Question::GatewayEcho, "gw", Detail::None));
        }
    }
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
fn the_published_reboot_makes_a_silent_minute_a_restart() {
    // Probe 206, 1 January: rebooted 17:50:36 by its counter, the pings around it missing.
    let mut entries = Vec::new();
    for (at, up_s) in
        [(hms(17, 46, 0), 314_772), (hms(17, 50, 26), 315_038), (hms(17, 50, 55), 19), (hms(17, 53, 59), 203)]
    {
        let life = RouterLife { up_s: Some(up_s), ..RouterLife::default() };
        entries.push(said(at * 1_000, Question::RouterLife, "router", Detail::RouterLife(life)));
    }
    for s in (hms(17, 46, 0)..hms(17, 56, 0)).step_by(4) {
        let silent = (hms(17, 50, 27)..hms(17, 50, 52)).contains(&s);
        let outcome = if silent { Outcome::Timeout } else { Outcome::Answered };
        entries.push(seen(s * 1_000, Question::GatewayEcho, "gw", outcome, Detail::None));
    }
    entries.sort_by_key(Entry::known);
    let judge = judged(&entries);
    let look = judge.look();
    assert_eq!(look.troubles.iter().map(|t| t.cause.word()).collect::<Vec<_>>(), ["router-restart"]);
    // The counter shows that it restarted; nobody watched the mains.
    assert!((0.7..=0.9).contains(&look.troubles[0].confidence));
    let at = judge.power().restarts(false)[0].secs() as i64;
    assert!((at - hms(17, 50, 36)).abs() <= 2);
}
