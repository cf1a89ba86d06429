//! Golden files: every renderer, the snapshot of every simulated site, compared byte for byte.
//!
//! `PATHPROOF_GOLDEN=write cargo test --test golden` writes them anew; read the difference before committing it.

mod snapshots;

use pathproof::show::columns::columns;
use pathproof::show::{escape, json, report, terminal, words};
use pathproof::snapshot::Snapshot;
use snapshots::{HOSTILE, all, zone};
use std::path::Path;

fn compare(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(name);
    if std::env::var("PATHPROOF_GOLDEN").as_deref() == Ok("write") {
        std::fs::write(&path, text).expect("golden file written");
        return;
    }
    let golden = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    if golden == text {
        return;
    }
    let differs = golden.lines().zip(text.lines()).position(|(a, b)| a != b);
    let at = differs.unwrap_or_else(|| golden.lines().count().min(text.lines().count()));
    panic!(
        "{name} differs at line {}:\n golden: {}\n    now: {}\nIf this is meant: PATHPROOF_GOLDEN=write cargo test --test golden",
        at + 1,
        golden.lines().nth(at).unwrap_or("(ends)"),
        text.lines().nth(at).unwrap_or("(ends)")
    );
}

fn screen(s: &Snapshot, width: usize, height: usize) -> Vec<String> {
    terminal::live(s, &zone(), width, height, false, Some(510.0))
}

#[test]
fn every_renderer_matches_its_golden_file() {
    for (name, s) in all() {
        let live =
            [(80, 24), (40, 24)].map(|(w, h)| format!("--- {w}x{h}\n{}\n", screen(&s, w, h).join("\n"))).concat();
        compare(&format!("{name}.live.txt"), &live);
        compare(&format!("{name}.verdict.txt"), &terminal::verdict(&s, &zone(), 80));
        compare(&format!("{name}.html"), &report::to_html(&s, &zone()));
        compare(&format!("{name}.json"), &json::to_json(&s));
        let lines = terminal::plain_change(&Snapshot::default(), &s, &zone());
        compare(&format!("{name}.lines.txt"), &(lines.join("\n") + "\n"));
    }
}

#[test]
fn the_live_screen_always_fits_and_keeps_every_lane_in_words() {
    for (name, s) in all() {
        for width in 40..=132 {
            for height in [9, 12, 15, 24, 50] {
                let lines = screen(&s, width, height);
                assert!(lines.len() <= height, "{name} {width}x{height}: {} lines", lines.len());
                assert!(lines.iter().all(|l| columns(l) <= width), "{name} {width}x{height}: {lines:#?}");
                for l in &s.lanes {
                    let shown = lines
                        .iter()
                        .any(|line| line.contains(words::lane(l.lane)) && line.contains(words::state(l.lane, l.state)));
                    assert!(shown, "{name} {width}x{height}: {:?} missing in {lines:#?}", l.lane);
                }
            }
        }
    }
}

#[test]
fn colour_changes_weight_only() {
    for (_, s) in all() {
        let plain = screen(&s, 80, 24);
        let inked = terminal::live(&s, &zone(), 80, 24, true, Some(510.0));
        let stripped: Vec<String> =
            inked.iter().map(|l| l.replace("\x1b[1m", "").replace("\x1b[2m", "").replace("\x1b[0m", "")).collect();
        assert_eq!(plain, stripped);
    }
}

#[test]
fn lines_come_only_when_something_changed() {
    for (name, s) in all() {
        let later = Snapshot { watch: pathproof::snapshot::Watch { ended: None, ..s.watch.clone() }, ..s.clone() };
        assert!(terminal::plain_change(&s, &later, &zone()).is_empty(), "{name}");
    }
    let after = snapshots::of("drilled");
    let mut before = after.clone();
    before.troubles.pop();
    before.lanes[6].state = pathproof::snapshot::LaneState::Good;
    assert_eq!(
        terminal::plain_change(&before, &after, &zone()),
        [
            "10:25:29 CET  Receiver: no answer, was: answers (receiver-a: refused), since 10:23:50 CET",
            "10:25:29 CET  Trouble 1: The station's receiver refused connections for 1 min 40 s so far. (began 10:23:50 CET; outage)",
        ]
    );
}

#[test]
fn lines_never_run_backwards_while_a_record_grows() {
    // Troubles are known late, are numbered anew when they are read together, and may be read otherwise later.
    let mut after = snapshots::of("mend-first");
    after.troubles.truncate(4);
    let mut before = after.clone();
    before.troubles = vec![after.troubles[1].clone(), after.troubles[3].clone()];
    before.troubles[0].number = 1;
    before.troubles[0].end_s = None;
    before.troubles[1].number = 2;
    let mut doubted = after.troubles[2].clone();
    doubted.start_s = doubted.start_s.map(|s| s - 60.0);
    before.troubles.push(doubted);
    let lines = terminal::plain_change(&before, &after, &zone());
    assert!(lines.iter().all(|l| l.starts_with("10:15:30 CET")), "{lines:#?}");
    let told: Vec<&str> =
        lines.iter().map(|l| l["10:15:30 CET  ".len()..].split(':').next().expect("a part")).collect();
    assert_eq!(told, ["Trouble 1", "Trouble 2 is over", "Trouble 3, own-link, is read differently now.", "Trouble 3"]);
}

#[test]
fn hostile_strings_steer_nothing_in_any_format() {
    let s = snapshots::attacked();
    let texts = [
        ("live", screen(&s, 80, 24).join("\n")),
        ("lines", terminal::plain_change(&Snapshot::default(), &s, &zone()).join("\n")),
        ("verdict", terminal::verdict(&s, &zone(), 80)),
        ("json", json::to_json(&s)),
        ("html", report::to_html(&s, &zone())),
    ];
    for (name, text) in &texts {
        let bad: Vec<char> = text.chars().filter(|c| *c != '\n' && escape::is_steering(*c)).collect();
        assert!(bad.is_empty(), "{name}: {bad:?}");
        if *name == "html" {
            for needle in ["<script", "<img", "NaN", "inf "] {
                assert!(!text.contains(needle), "{name} holds {needle}");
            }
        }
    }
    // The string did arrive everywhere it should be shown, as text.
    for (name, text) in &texts {
        assert!(text.contains("alert(1)"), "{name} does not show the hostile text");
    }
    // JSON keeps the value whole.
    let back: serde_json::Value = serde_json::from_str(&texts[3].1).expect("JSON parses");
    assert_eq!(back["site"], HOSTILE);
}

#[test]
fn the_json_comes_back_and_every_key_is_documented() {
    let doc = include_str!("../src/show/json.md");
    for (name, s) in all() {
        let text = json::to_json(&s);
        if name != "hostile" {
            // Hostile numbers (NaN, infinity) have no JSON form and become null.
            // Numbers to the microsecond: serde_json's quick reader may miss the last bit of a float.
            let back: Snapshot = serde_json::from_str(&text).expect("parses");
            assert_eq!(rounded(&json::to_json(&back)), rounded(&text), "{name}");
        }
        let mut stack = vec![serde_json::from_str::<serde_json::Value>(&text).expect("parses")];
        while let Some(v) = stack.pop() {
            match v {
                serde_json::Value::Array(items) => stack.extend(items),
                serde_json::Value::Object(map) => {
                    for (key, value) in map {
                        let known = doc.contains(&format!("`{key}`"))
                            || [".", "`."].iter().any(|dot| {
                                doc.contains(&format!("{dot}{key}`")) || doc.contains(&format!("{dot}{key}[]`"))
                            })
                            || doc.contains(&format!("`{key}[]`"))
                            || doc.contains(&format!("`{key}[]."))
                            || doc.contains(&format!("`{key}."));
                        assert!(known, "JSON field {key} is not documented in src/show/json.md");
                        stack.push(value);
                    }
                }
                _ => {}
            }
        }
    }
}

fn rounded(text: &str) -> String {
    fn walk(v: &mut serde_json::Value) {
        match v {
            serde_json::Value::Array(items) => items.iter_mut().for_each(walk),
            serde_json::Value::Object(map) => map.values_mut().for_each(walk),
            serde_json::Value::Number(n) if n.is_f64() => {
                let f = n.as_f64().expect("a float");
                *v = serde_json::json!(format!("{f:.6}"));
            }
            _ => {}
        }
    }
    let mut v: serde_json::Value = serde_json::from_str(text).expect("parses");
    walk(&mut v);
    v.to_string()
}
