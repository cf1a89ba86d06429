//! A watch and drills in one record: it is not drilled into while it is written, and a drill that was cut off leaves out
//! nothing of the watch that goes on.

use super::{Watch, all, folder, once, report};
use pathproof::judge::drill::{Act, CutShort, DrillEnd, Step};
use pathproof::judge::{Drill, Entry, Micros};
use pathproof::record::{Writer, hold};

#[test]
fn a_watch_goes_on_with_a_record_that_holds_a_drill_cut_off() {
    let dir = folder();
    let path = dir.path().join("r.db");
    let mut w = Watch::start(dir.path(), 0, "", "r.db");
    w.says("A new record");
    w.until("some entries", |_| all(&path).len() > 20);
    let onto = ["drill", "mains-off", "--onto", "r.db", "--permitted"];
    let busy = once(dir.path(), &onto);
    assert_eq!(busy.status.code(), Some(75), "{}", String::from_utf8_lossy(&busy.stderr));
    assert!(String::from_utf8_lossy(&busy.stderr).contains("being written to by another agent"));
    assert_eq!(all(&path).iter().filter(|e| matches!(e, Entry::Drill { .. })).count(), 0);
    w.kill();

    // What a drill leaves that is killed after its first act.
    let held = hold(&path).expect("holds");
    let about = held.about().expect("says what it is").to_owned();
    let last = all(&path).iter().map(Entry::known).max().expect("entries");
    let mut writer = Writer::resume(held, &about).expect("resumes");
    let steps = [Step::Began { drill: Drill::MainsOff, needed: Some(Micros::from_secs(60)) }, Step::Acted(Act::Off)];
    let mut marks: Vec<Entry> =
        steps.into_iter().zip(1..).map(|(step, n)| Entry::Drill { at: last + Micros(n), step }).collect();
    assert!(marks.iter().all(|m| writer.keep(m.clone())));
    writer.finish().expect("finishes");
    let found = once(dir.path(), &onto[..4]);
    assert_eq!(found.status.code(), Some(77), "without a yes");
    assert!(String::from_utf8_lossy(&found.stdout).contains("FOUND IN THE RECORD"));

    let mut w = Watch::start(dir.path(), 1, "", "r.db");
    w.says("The mains-off drill in the record is over");
    w.says("Going on with r.db");
    let many = all(&path).len() + 40;
    w.until("more", |_| all(&path).len() > many);
    assert_eq!(w.stop(), Some(0));
    marks.push(Entry::Drill { at: last + Micros(2), step: Step::Ended(DrillEnd::CutShort(CutShort::AgentCutOff)) });
    let kept: Vec<Entry> = all(&path).into_iter().filter(|e| matches!(e, Entry::Drill { .. })).collect();
    assert_eq!(kept, marks);
    let json = report(dir.path(), "r.db");
    let drill = &json["drills"][0];
    assert_eq!(drill["drill"], "mains-off");
    assert_eq!(drill["cut_short"], "this host was cut off in it, and it was not gone on with");
    assert_eq!(drill["to_s"].as_f64(), Some((last + Micros(2)).secs()), "the watch after it counts: {drill:#}");

    let out = once(dir.path(), &["export", "r.db"]);
    let text = String::from_utf8(out.stdout).expect("text");
    let rows: Vec<&str> = text.lines().filter(|l| l.contains(",drill,")).collect();
    assert_eq!(rows.len(), 3, "{text}");
    let want = [
        r#"{""began"":{""drill"":""mains-off"",""needed"":60000000}}"#,
        r#"{""acted"":""off""}"#,
        r#"{""ended"":{""cut-short"":""agent-cut-off""}}"#,
    ];
    assert!(rows.iter().zip(want).all(|(r, w)| r.contains(w)), "{rows:#?}");
}
