//! The pages, checked by an outside parser and held against what they must say.
//!
//! Structure: `tests/pages/check.py` (html5lib, strict). Needs `apt-get install python3 python3-html5lib`; without them
//! the test fails and says so. `PATHPROOF_READ=DIRECTORY cargo test --test pages` writes the pages there, to be looked at.

mod snapshots;

use pathproof::judge::{Cause, Lane};
use pathproof::show::escape;
use pathproof::show::page::{ASSETS, Look, Window, home, home_main, login, technician};
use pathproof::snapshot::{CourseView, LaneState, LaneView, Snapshot, Stretch, Trouble};
use snapshots::{HOSTILE, all, zone};
use std::process::Command;

/// What one answer may weigh with everything it asks for, bytes.
const MOST: usize = 150_000;

fn sends() -> Vec<String> {
    [
        "The router, 192.0.2.1: is it there, each 5 s",
        "Its name lookup: one small question each 30 s",
        "The reference points 198.51.100.7 and 2001:db8:5::53: one small question each 30 s",
        "The receiver main, 203.0.113.20, port 4500: a connection opened and closed, each 60 s",
    ]
    .map(str::to_owned)
    .to_vec()
}

/// Draws a snapshot a moment after its last entry.
fn with<T>(s: &Snapshot, draw: impl Fn(&Look<'_>) -> T) -> T {
    let (zone, sends) = (zone(), sends());
    draw(&Look {
        snapshot: s,
        zone: &zone,
        now_s: s.watch.elapsed_s + 1.0,
        sends: &sends,
        record: "/var/lib/pathproof/record.db",
    })
}

/// Every page of a snapshot, as it stands and as if the watch went on.
fn pages(s: &Snapshot) -> Vec<(&'static str, String)> {
    let mut on = s.clone();
    on.watch.ended = None;
    let half = Window { from_s: s.watch.elapsed_s / 4.0, to_s: s.watch.elapsed_s * 0.75 };
    vec![
        ("home-ended", with(s, home)),
        ("home", with(&on, home)),
        ("technician", with(&on, |l| technician(l, None))),
        ("technician-part", with(&on, |l| technician(l, Some(half)))),
        ("technician-odd", with(&on, |l| technician(l, Some(Window { from_s: f64::NAN, to_s: -1e300 })))),
    ]
}

fn check(page: &str) -> Result<(), String> {
    let dir = tempfile::tempdir().expect("temporary directory");
    let file = dir.path().join("page.html");
    std::fs::write(&file, page).expect("page written");
    let python = ["/usr/bin/python3", "python3"]
        .into_iter()
        .find(|p| Command::new(p).args(["-c", "import html5lib"]).output().is_ok_and(|o| o.status.success()))
        .expect("this check needs: apt-get install python3 python3-html5lib");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/pages/check.py");
    let out = Command::new(python).arg(script).arg(&file).output().expect("python runs");
    if out.status.success() { Ok(()) } else { Err(String::from_utf8_lossy(&out.stderr).into_owned()) }
}

#[test]
fn every_page_is_strict_html_with_landmarks_headings_in_order_and_nothing_inline() {
    let coursed = [("coursed", coursed(snapshots::of("add-cellular"), 158)), ("year", long())];
    for (name, s) in all().into_iter().chain(coursed) {
        for (page, text) in pages(&s) {
            if let Ok(dir) = std::env::var("PATHPROOF_READ") {
                std::fs::write(format!("{dir}/{name}.{page}.html"), &text).expect("page written");
            }
            if let Err(why) = check(&text) {
                panic!("{name}, {page}: {why}");
            }
        }
    }
    for wrong in [false, true] {
        if let Err(why) = check(&login(wrong)) {
            panic!("login: {why}");
        }
    }
}

#[test]
fn the_check_does_refuse_what_is_wrong() {
    let good = with(&snapshots::of("mend-first"), home);
    for (what, bad) in [
        ("an inline script", good.replacen("<footer>", "<footer><script>1</script>", 1)),
        ("a style", good.replacen("<footer>", "<footer style=\"color:red\">", 1)),
        ("a handler", good.replacen("<footer>", "<footer onclick=\"x\">", 1)),
        ("a heading left out", good.replacen("<h2", "<h4", 1).replacen("</h2>", "</h4>", 1)),
        ("an outside address", good.replacen("href=\"/technician\"", "href=\"https://example.test/\"", 1)),
        ("an unclosed element", good.replacen("</section>", "", 1)),
    ] {
        assert_ne!(bad, good, "{what}");
        assert!(check(&bad).is_err(), "{what} was not noticed");
    }
}

#[test]
fn hostile_text_steers_nothing_on_any_page_and_is_shown() {
    for (page, text) in pages(&snapshots::attacked()) {
        let bad: Vec<char> = text.chars().filter(|c| *c != '\n' && escape::is_steering(*c)).collect();
        assert!(bad.is_empty(), "{page}: {bad:?}");
        // The one script of a page is its own file; `check` has seen to it that it stands alone.
        assert_eq!(text.matches("<script").count(), 1, "{page}");
        for needle in ["<img", "NaN", "inf "] {
            assert!(!text.contains(needle), "{page} holds {needle}");
        }
        assert!(text.contains("alert(1)"), "{page} does not show the hostile text");
    }
    let s = snapshots::attacked();
    let zone = zone();
    let look = Look { snapshot: &s, zone: &zone, now_s: f64::NAN, sends: &[HOSTILE.to_owned()], record: HOSTILE };
    for text in [home(&look), technician(&look, None)] {
        check(&text).expect("hostile words of this box itself are words too");
        assert!(text.contains("alert(1)") && !text.contains("<img"));
    }
}

/// With courses: a day's swing of the round trips, losses in the outages, and a pause.
fn coursed(mut s: Snapshot, parts: u32) -> Snapshot {
    let step_s = s.watch.elapsed_s / f64::from(parts);
    for (n, t) in s.targets.iter_mut().enumerate() {
        let base = [0.4, 8.0, 11.0, 14.0, 21.0][n % 5];
        let mut c = CourseView { step_s, ..CourseView::default() };
        for k in 0..parts {
            let paused = k % 97 > 90;
            let lost = n >= 2 && k % 13 == 4;
            let swing = 1.0 + 0.4 * (f64::from(k) / f64::from(parts) * 7.0 * std::f64::consts::TAU).sin();
            c.asked.push(if paused { 0 } else { 100 });
            c.answered.push(if paused { 0 } else { 100 - u32::from(lost) * (k % 7) * 16 });
            c.mean_ms.push((!paused).then_some(base * swing));
            c.most_ms.push((!paused).then_some(base * swing * (2.0 + f64::from(k * 37 % 11))));
        }
        t.course = Some(c);
    }
    s
}

/// A year with a trouble each few hours, and lanes that changed with each.
fn long() -> Snapshot {
    let mut s = snapshots::of("add-cellular");
    let year = 365.0 * 86_400.0;
    (s.watch.elapsed_s, s.watch.observed_s, s.watch.ended) = (year, year, None);
    let like = s.troubles[0].clone();
    let starts: Vec<f64> = (0..4_000).map(|k| f64::from(k) * year / 4_000.0 + f64::from(k % 7) * 300.0).collect();
    s.troubles = starts
        .iter()
        .zip(1..)
        .map(|(&at, number)| Trouble {
            number,
            cause: Cause::ALL[number as usize % 40],
            start_s: [at, at + 1.0, at + 2.0],
            end_s: Some([at + 300.0, at + 301.0, at + 302.0]),
            down_from_s: None,
            down_to_s: None,
            outage: number % 3 == 0,
            evidence_for: vec!["the router answered throughout; all three reference points fell silent".into(); 20],
            ..like.clone()
        })
        .collect();
    s.lanes = Lane::ALL
        .into_iter()
        .map(|lane| {
            let mut stretches = Vec::new();
            let mut last = 0.0;
            for (k, &at) in starts.iter().enumerate() {
                let state = [LaneState::Bad, LaneState::Strained, LaneState::Blind][(k + lane as usize) % 3];
                stretches.push(Stretch { from_s: last, to_s: at + 1.0, state: LaneState::Good });
                stretches.push(Stretch { from_s: at + 1.0, to_s: at + 301.0, state });
                last = at + 301.0;
            }
            stretches.push(Stretch { from_s: last, to_s: year, state: LaneState::Good });
            LaneView {
                lane,
                state: LaneState::Good,
                last: "answers in 0.4 ms".into(),
                last_s: Some(year - 1.0),
                stretches,
            }
        })
        .collect();
    coursed(s, 192)
}

#[test]
fn a_page_of_a_year_is_small_with_all_it_asks_for() {
    let assets: usize = ASSETS.iter().map(|a| a.body.len()).sum();
    let week = Window { from_s: -604_800.0, to_s: 0.0 };
    let month = Window { from_s: 0.0, to_s: 30.0 * 86_400.0 };
    let long = long();
    let mut worst = 0;
    for (page, text) in pages(&long)
        .into_iter()
        .chain([
            ("week", with(&long, |l| technician(l, Some(week)))),
            ("month", with(&long, |l| technician(l, Some(month)))),
        ])
        .chain(all().into_iter().flat_map(|(_, s)| pages(&s)))
    {
        worst = worst.max(text.len() + assets);
        assert!(text.len() + assets < MOST, "{page}: {} and {assets} bytes", text.len());
    }
    // Both drawings and the longest lists were in it.
    assert!(worst > 100_000, "the largest page weighs only {worst} bytes");
}

#[test]
fn the_homeowner_is_told_what_stops_whose_job_it_is_and_what_to_do() {
    let text = with(&snapshots::of("drilled"), home_main);
    for needle in [
        "The alarm’s way out does not work right now.",
        "The station's receiver refused connections for 1 min 40 s so far.",
        "It is neither the router nor the internet",
        "Whose job: the monitoring station.",
        "Here it stops",
        "pathproof forget --all /var/lib/pathproof/record.db",
        "/var/lib/pathproof/record.db",
        "203.0.113.20",
    ] {
        assert!(text.contains(needle), "{needle} is not in {text}");
    }
    // No jargon on an ordinary day.
    let mut calm = snapshots::of("ip-alone");
    calm.watch.ended = None;
    let calm = with(&calm, home_main);
    assert!(calm.contains("The alarm’s way out works."), "{calm}");
    for jargon in ["NAT", "RFC", "DHCP", "ICMP", "TLS", "RTT", "MTU", "ARP"] {
        assert!(!calm.split(|c: char| !c.is_alphanumeric()).any(|w| w == jargon), "{jargon}");
    }
}

#[test]
fn what_is_pushed_is_what_the_page_holds() {
    for (name, s) in all() {
        assert!(with(&s, home).contains(&with(&s, home_main)), "{name}");
    }
}

#[test]
fn a_trouble_that_has_a_part_to_itself_is_told_there() {
    let s = snapshots::of("add-cellular");
    let t = &s.troubles[2];
    let around = Window { from_s: t.start_s[0] - 600.0, to_s: t.end_s.expect("over")[2] + 600.0 };
    let text = with(&s, |l| technician(l, Some(around)));
    assert!(text.contains("1 trouble in the part shown above, of 12 in all."), "{text}");
    assert!(text.contains("id=\"t3\"") && !text.contains("id=\"t4\""));
}
