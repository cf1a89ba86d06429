//! The API page by page, and the document against what is answered.

use crate::{Site, sample};
use pathproof::judge::{Detail, Entry, Lane, Micros, Moment, Observation, Outcome, Question, Rtt, Session, WallTime};
use pathproof::record::Writer;
use std::path::Path;

const BEGAN: i64 = 1_767_225_600_000_000;

/// A record of so many seconds: one question each to a station and to a reference point.
fn record(path: &Path, seconds: i64) {
    let mut writer = Writer::create(path, "{}").expect("makes");
    let session =
        Session { at: Moment(0), boot_id: "b".into(), boot: Micros(1), wall: WallTime(BEGAN), synced: Some(true) };
    assert!(writer.keep(Entry::Began(session)));
    for n in 0..seconds {
        for (question, target) in [(Question::Connect, "station"), (Question::Reference, "near")] {
            let asked = Moment(n * 1_000_000);
            assert!(writer.keep(Entry::Seen(Observation {
                asked,
                known: asked + Micros(20_000),
                question,
                target: target.into(),
                outcome: Outcome::Answered,
                rtt: Some(Rtt { took: Micros(20_000), kernel: true }),
                detail: Detail::None,
            })));
        }
    }
    writer.finish().expect("writes");
}

#[test]
fn the_pages_of_the_record_are_the_whole_record() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("r.db");
    record(&path, 5_000);
    let site = Site::new(None, &[], path.clone(), Some(sample("ip-alone")));
    let walk = |query: &str| {
        let (mut items, mut pages, mut cursor) = (Vec::new(), 0, String::new());
        loop {
            let target = format!("/api/v1/observations?{query}{cursor}");
            let page = site.get(&target);
            assert_eq!(page.code, 200, "{target}: {page:?}");
            let page = page.json();
            items.extend(page["items"].as_array().expect("a list").iter().cloned());
            pages += 1;
            match page["next"].as_str() {
                Some(next) => cursor = format!("&cursor={next}"),
                None => return (items, pages),
            }
        }
    };
    let (all, pages) = walk("limit=1000");
    assert_eq!((all.len(), pages), (10_001, 11));
    let known: Vec<i64> = all.iter().map(|i| i["known_us"].as_i64().expect("a number")).collect();
    assert!(known.is_sorted());
    assert_eq!((all[0]["kind"].as_str(), all[0]["at"].as_str()), (Some("began"), Some("2026-01-01T00:00:00.000000Z")));
    let (part, _) = walk("limit=77&lane=receiver&from=2026-01-01T00:10:00Z&to=2026-01-01T00:20:00Z");
    assert_eq!(part.len(), 600);
    assert!(part.iter().all(|i| i["lane"] == Lane::Receiver.word() && i["target"] == "station"));
    assert_eq!(part[0]["at"], "2026-01-01T00:10:00.020000Z");
    assert!(walk("limit=10&lane=power").0.is_empty());
    assert!(walk("limit=10&from=2030-01-01T00:00:00Z").0.is_empty());
    assert!(walk("from=2026-01-02T00:00:00Z&to=2026-01-01T00:00:00Z").0.is_empty());
    for wrong in ["limit=0", "limit=1001", "lane=moon", "from=yesterday", "cursor=x", "limit=1&limit=2", "more=1"] {
        let got = site.get(&format!("/api/v1/observations?{wrong}"));
        assert_eq!((got.code, got.field("content-type")), (400, Some("application/problem+json")), "{wrong}: {got:?}");
    }
    // A record that can't be read is said to be so, and where it lies is not.
    std::fs::remove_file(&path).expect("goes");
    let gone = site.get("/api/v1/observations");
    assert_eq!(gone.code, 503, "{gone:?}");
    assert!(!gone.body.contains("r.db"), "{gone:?}");
}

#[test]
fn the_pages_of_what_happened_are_all_of_it() {
    let mut s = sample("mend-first");
    let one = s.troubles.first().expect("there are some").clone();
    s.troubles =
        (1..=25).map(|n| pathproof::snapshot::Trouble { number: n, outage: n % 2 == 1, ..one.clone() }).collect();
    let site = Site::open(s);
    let walk = |path: &str| {
        let (mut numbers, mut target) = (Vec::new(), format!("{path}?limit=4"));
        loop {
            let page = site.get(&target).json();
            numbers
                .extend(page["items"].as_array().expect("a list").iter().map(|i| i["number"].as_u64().expect("one")));
            match page["next"].as_u64() {
                Some(next) => target = format!("{path}?limit=4&after={next}"),
                None => return (numbers, page["total"].as_u64().expect("a number")),
            }
        }
    };
    assert_eq!(walk("/api/v1/troubles"), ((1..=25).collect(), 25));
    assert_eq!(walk("/api/v1/outages"), ((1..=25).step_by(2).collect(), 13));
    let first = site.get("/api/v1/troubles?limit=1").json();
    let began = first["items"][0]["began"].as_str().expect("a time").to_owned();
    assert!(began.parse::<jiff::Timestamp>().is_ok(), "{began}");
}

#[test]
fn what_is_answered_is_what_the_snapshot_says() {
    for (_, s) in crate::snapshots::all() {
        let site = Site::open(s.clone());
        let printed: serde_json::Value = serde_json::from_str(&pathproof::show::json::to_json(&s)).expect("JSON");
        assert_eq!(site.get("/api/v1/snapshot").json(), printed);
        let verdict = site.get("/api/v1/verdict").json();
        assert_eq!(verdict["verdict"]["sentence"].as_str(), Some(s.verdict().sentence.as_str()));
        assert_eq!(
            site.get("/api/v1/report").body,
            pathproof::show::report::to_html(&s, &jiff::tz::TimeZone::system())
        );
    }
    let document = Site::open(sample("ip-alone")).get("/api/v1/openapi.json").json();
    assert_eq!(document, *pathproof::serve::document());
}
