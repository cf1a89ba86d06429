//! Papers and the report in a real browser: valid by a checker of HTML, sound by one of accessibility, on a phone and a
//! desktop, and nothing asked of anybody.

use crate::hand::Hand;
use crate::snapshots::{self, zone};
use pathproof::judge::WallTime;
use pathproof::show::paper::survey_record::{Entered, survey_record};
use pathproof::show::paper::{Given, Origin, letter, ticket, to_html};
use pathproof::show::report;
use pathproof::worksheet::given::Power;
use serde_json::{Value, json};
use std::path::Path;

/// Their style stands in them, so that one file is all there is; nothing else is allowed.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// Writes the papers and the report of each simulated site; gives their addresses.
fn draw(dir: &Path) -> Vec<String> {
    let (mut files, mut addresses) = (serde_json::Map::new(), Vec::new());
    let hostile = || snapshots::HOSTILE.to_owned();
    let origin = Origin {
        record: Some(hostile()),
        sha256: Some("0123456789abcdef".repeat(4)),
        plan_sha256: None,
        boot: Some(hostile()),
        made: Some(WallTime(1_773_830_530_000_000)),
        unmasked: true,
    };
    let entered = Entered { plain: vec![(hostile(), hostile())], ..Entered::default() };
    let zone = zone();
    for (name, s) in snapshots::all() {
        let given = Given { snapshot: &s, zone: &zone, origin: &origin };
        let papers = [
            ("letter", to_html(&letter::letter(&given))),
            ("ticket", to_html(&ticket::ticket(&given))),
            ("survey-record", to_html(&survey_record(&given, &entered, &Power::default()))),
            ("report", report::to_html(&s, &zone)),
        ];
        for (paper, text) in papers {
            let file = format!("f{}", files.len());
            std::fs::write(dir.join(&file), text).expect("writes");
            addresses.push(format!("/{name}/{paper}"));
            files.insert(format!("/{name}/{paper}"), json!({ "name": file, "media": "text/html; charset=utf-8" }));
        }
    }
    std::fs::write(dir.join("files.json"), Value::Object(files).to_string()).expect("writes");
    addresses
}

#[test]
fn every_paper_is_valid_and_sound_and_asks_nobody() {
    let dir = tempfile::tempdir().expect("a folder");
    let papers = draw(dir.path());
    let mut hand = Hand::open(None);
    hand.order("serve", json!({ "dir": dir.path(), "policy": POLICY }));
    for (n, paper) in papers.iter().enumerate() {
        for (size, theme) in [("phone", "light"), ("desktop", "dark")] {
            hand.goto(paper, size, theme, true);
            let what = format!("{paper}, {size}, {theme}");
            hand.is_sound(&what);
            if size == "phone" {
                hand.is_valid(&what);
                assert_eq!(hand.place()["sideways"], 0, "{what} runs off the side");
            }
            if n % 4 < 3 {
                hand.shot(&format!("paper-{}-{size}", paper.trim_matches('/').replace('/', "-")));
            }
        }
    }
    // The checker does find something where there is something.
    let bad = "<!DOCTYPE html><html lang=\"en\"><head><title>x</title></head><body><p><div>no</div></p><img src=\"x\"></body></html>";
    std::fs::write(dir.path().join("f0"), format!("{bad}{}", " ".repeat(500))).expect("writes");
    hand.goto(&papers[0], "desktop", "light", true);
    let wrong = hand.order("valid", json!({}))["wrong"].clone();
    assert!(wrong.as_array().is_some_and(|w| !w.is_empty()), "{wrong}");
}
