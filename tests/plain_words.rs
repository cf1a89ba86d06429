//! What a homeowner reads: no share without "of what" and "how long", in any text, hand-built or judged.
//!
//! The judged records come from the real judge, fed with what probes on a small virtual site would have seen.
//! `PATHPROOF_READ=DIRECTORY cargo test --test plain_words` writes the texts there, to be read.

mod snapshots;

use pathproof::judge::{
    Access, Carrier, Detail, Ending, Entry, HeldAddress, Judge, Known, Lane, Micros, Moment, NameAnswer, Observation,
    Outcome, Prior, Question, Recalled, Rtt, Session, Settings, WallTime,
};
use pathproof::show::{report, terminal};
use pathproof::snapshot::{Header, Snapshot, VerdictKind, take};
use snapshots::{all, zone};
use std::collections::BTreeSet;
use std::sync::Arc;

const SECOND: i64 = 1_000_000;
const DAY: i64 = 86_400;

/// What goes wrong, from and to, seconds.
enum Fault {
    Line(i64, i64),
    Lead(i64, i64),
}

struct Site {
    seconds: i64,
    every: i64,
    faults: Vec<Fault>,
    known: Known,
}

impl Site {
    fn under(&self, at: i64) -> (bool, bool) {
        let within = |from: &i64, to: &i64| (*from..*to).contains(&at);
        let line = self.faults.iter().any(|f| matches!(f, Fault::Line(a, b) if within(a, b)));
        let lead = self.faults.iter().any(|f| matches!(f, Fault::Lead(a, b) if within(a, b)));
        (line || lead, lead)
    }

    fn judged(&self) -> Snapshot {
        let mut judge = Judge::new(Settings {
            receivers: BTreeSet::from(["receiver".into()]),
            tls_receivers: BTreeSet::new(),
            patience: Micros::from_secs(2),
            cadence: Lane::ALL.map(|l| (l, Micros::from_secs(self.every))),
            supervision: Some(Micros::from_secs(90_000)),
            requirements: toml::from_str(include_str!("../config/requirements/household.toml")).expect("parses"),
            out_of_scope: Vec::new(),
            known: self.known.clone(),
        });
        judge.take(&Entry::Began(Session {
            at: Moment(0),
            boot_id: "b".into(),
            boot: Micros(0),
            wall: WallTime(1_773_130_530_000_000),
            synced: Some(true),
        }));
        let asks: [(Question, Arc<str>, i64); 5] = [
            (Question::GatewayEcho, "192.0.2.1".into(), 100),
            (Question::Name, "192.0.2.1".into(), 200),
            (Question::Reference, "ref-a".into(), 300),
            (Question::Reference, "ref-b".into(), 400),
            (Question::Connect, "receiver".into(), 500),
        ];
        let host: Arc<str> = "eth0".into();
        let mut at = 0;
        while at < self.seconds {
            let (line, lead) = self.under(at);
            let now = Moment(at * SECOND);
            let carrier = Carrier { index: 2, name: "eth0".into(), up: !lead, ..Carrier::default() };
            let address = HeldAddress {
                address: [192, 0, 2, 7].into(),
                prefix: 24,
                valid_s: Some(3_600),
                preferred_s: Some(3_600),
                permanent: false,
            };
            let own = Detail::OwnAddress { held: vec![address], gateway: Some([192, 0, 2, 1].into()) };
            for (question, detail) in [(Question::Carrier, Detail::Carrier(carrier)), (Question::OwnAddress, own)] {
                judge.take(&Entry::Seen(Observation {
                    asked: now,
                    known: now,
                    question,
                    target: Arc::clone(&host),
                    outcome: Outcome::Answered,
                    rtt: None,
                    detail,
                }));
            }
            let mut seen: Vec<Observation> =
                asks.iter().map(|a| ask(a, at, lead || (line && a.0 != Question::GatewayEcho))).collect();
            seen.sort_by_key(|o| o.known);
            for o in seen {
                judge.take(&Entry::Seen(o));
            }
            at += self.every;
        }
        judge.take(&Entry::Ended { at: Moment(self.seconds * SECOND), how: Ending::Complete });
        let header =
            Header { site: "home-0001".into(), planned: Some(Micros::from_secs(self.seconds)), ..Header::default() };
        take(&judge, &header)
    }
}

fn ask((question, target, offset): &(Question, Arc<str>, i64), second: i64, lost: bool) -> Observation {
    let asked = Moment(second * SECOND + offset * 1_000);
    let took = Micros::from_millis(if lost { 2_000 } else { 14 + (second / 7) % 5 });
    let named = matches!(question, Question::Name | Question::Reference) && !lost;
    let answer = Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() });
    Observation {
        asked,
        known: asked + took,
        question: *question,
        target: Arc::clone(target),
        outcome: if lost { Outcome::Timeout } else { Outcome::Answered },
        rtt: (!lost).then_some(Rtt { took, kernel: true }),
        detail: if named { answer } else { Detail::None },
    }
}

/// Records judged for real, one for each way a verdict can fall.
fn judged() -> Vec<(&'static str, VerdictKind, Snapshot)> {
    let site = |seconds, every, faults, prior| {
        let mut known = Known { prior, ..Known::default() };
        known.assumed.monthly_fee = Some(15.0);
        Site { seconds, every, faults, known }.judged()
    };
    let fibre = Prior {
        access: Some(Access::Fibre),
        recalled: Some(Recalled { last_year: 3, worst: Some(Micros::from_secs(4 * 3_600)) }),
    };
    let cuts = |n: i64, length: i64| {
        (0..n).map(|i| Fault::Line(40_000 + i * 50_000, 40_000 + i * 50_000 + length * (1 + i % 4))).collect()
    };
    vec![
        ("half an hour, clean", VerdictKind::KeepWatching, site(1_800, 5, Vec::new(), Prior::NONE)),
        ("a week, clean, fibre", VerdictKind::KeepWatching, site(7 * DAY, 30, Vec::new(), fibre)),
        ("140 days, clean, fibre", VerdictKind::IpAlone, site(140 * DAY, 600, Vec::new(), fibre)),
        ("ten days, twelve cuts", VerdictKind::AddCellular, site(10 * DAY, 30, cuts(12, 2_000), Prior::NONE)),
        (
            "an hour, a bad lead",
            VerdictKind::MendFirst,
            site(3_600, 5, vec![Fault::Lead(900, 960), Fault::Lead(2_000, 2_040)], fibre),
        ),
        ("an hour, one cut", VerdictKind::KeepWatching, site(3_600, 5, vec![Fault::Line(1_000, 1_040)], Prior::NONE)),
    ]
}

/// Words that say how long.
const LENGTHS: [&str; 9] = ["second", "minute", "hour", "day", "week", "month", "year", "long run", "whole time"];

/// The sentence says how long: a word for a length, or a number with its unit.
fn says_how_long(sentence: &str) -> bool {
    let words: Vec<&str> = sentence.split(|c: char| c.is_whitespace() || "(),;:".contains(c)).collect();
    let measured = words.windows(2).any(|w| w[0].parse::<f64>().is_ok() && ["s", "min", "h", "d"].contains(&w[1]));
    measured || LENGTHS.iter().any(|l| sentence.contains(l))
}

/// Sentences of a text whose paragraphs are lines, or that end in a full stop.
fn sentences(text: &str) -> Vec<String> {
    text.lines().flat_map(|l| l.split_inclusive(['.', '!', '?']).collect::<Vec<_>>()).fold(
        Vec::new(),
        |mut all: Vec<String>, part| {
            // A point inside a number ends nothing.
            match all.last_mut() {
                Some(last) if last.ends_with('.') && part.starts_with(|c: char| c.is_ascii_digit()) => {
                    last.push_str(part);
                }
                _ => all.push(part.to_owned()),
            }
            all
        },
    )
}

/// What is wrong with the shares in a text.
fn bare_shares(text: &str) -> Vec<String> {
    let bare = |s: &String| {
        s.char_indices().filter(|(_, c)| *c == '%').any(|(at, _)| !s[at..].contains(" of ")) || !says_how_long(s)
    };
    sentences(text).into_iter().filter(|s| s.contains('%')).filter(bare).collect()
}

/// Odds ("19 in 20", "19 of 20") that don't say of what or over how long.
fn bare_odds(text: &str) -> Vec<String> {
    let odds = |s: &str| {
        let w: Vec<&str> = s.split_whitespace().collect();
        w.windows(3).any(|w| {
            w[1] == "in"
                && w[0].parse::<u32>().is_ok()
                && w[2].trim_end_matches(|c: char| !c.is_ascii_digit()).parse::<u32>().is_ok()
        })
    };
    let of_what =
        |s: &str| [" that ", " of ", "within", "sure", "would", " take ", " last "].iter().any(|w| s.contains(w));
    sentences(text).into_iter().filter(|s| odds(s) && !of_what(s)).collect()
}

/// The terminal's text with its wrapped lines joined again.
fn unwrapped(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let (bare, indent) = (line.trim_start(), line.len() - line.trim_start().len());
        let new = bare.is_empty() || bare.starts_with("- ") || indent == 0 && out.ends_with(['.', '\n', ':', '=']);
        out.push(if new { '\n' } else { ' ' });
        out.push_str(bare);
    }
    out
}

/// The text of a page: tags out, blocks as lines, style and drawings left out.
fn text_of(html: &str) -> String {
    let mut html = html.to_owned();
    for (open, close) in [("<style", "</style>"), ("<svg", "</svg>"), ("<head", "</head>")] {
        while let Some(from) = html.find(open) {
            let to = html[from..].find(close).map_or(html.len(), |i| from + i + close.len());
            html.replace_range(from..to, "\n");
        }
    }
    let mut out = String::new();
    for part in html.split('<').skip(1) {
        let (tag, text) = part.split_once('>').unwrap_or((part, ""));
        let inline =
            ["span", "/span", "em", "/em"].iter().any(|t| tag.trim_end_matches('/').split(' ').next() == Some(t));
        out.push(if inline { ' ' } else { '\n' });
        out.push_str(text);
    }
    out.replace("&quot;", "\"").replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">")
}

fn texts(s: &Snapshot) -> [(&'static str, String); 3] {
    let live = terminal::live(s, &zone(), 80, 24, false, Some(510.0)).join("\n");
    [
        ("terminal", unwrapped(&terminal::verdict(s, &zone(), 80))),
        ("page", text_of(&report::to_html(s, &zone()))),
        ("live", live),
    ]
}

#[test]
fn no_share_stands_without_of_what_and_how_long() {
    let read = std::env::var_os("PATHPROOF_READ").map(std::path::PathBuf::from);
    let built = all().into_iter().filter(|(name, _)| *name != "hostile").map(|(name, s)| (name, s.verdict.kind, s));
    let mut shares = 0;
    for (name, kind, s) in built.chain(judged()) {
        assert_eq!(s.verdict.kind, kind, "{name}: {:#?}", s.verdict);
        if let Some(dir) = &read {
            std::fs::write(dir.join(format!("{name}.txt")), terminal::verdict(&s, &zone(), 80)).expect("written");
            std::fs::write(dir.join(format!("{name}.html")), report::to_html(&s, &zone())).expect("written");
        }
        for (where_, text) in texts(&s) {
            shares += text.matches('%').count();
            assert_eq!(bare_shares(&text), [""; 0], "{name}, {where_}");
            assert_eq!(bare_odds(&text), [""; 0], "{name}, {where_}");
        }
    }
    assert!(shares > 10, "only {shares} shares read");
}

#[test]
fn the_check_refuses_bare_shares() {
    for bad in [
        "We are 96 % sure.",
        "Availability is 99.8 % in a month.",
        "It was up 99 % of what was asked.",
        "Seen for 9 h. That is 97.5 % of it.",
    ] {
        assert_eq!(bare_shares(bad).len(), 1, "{bad}");
    }
    for good in ["Seen for 9 h of that (97.5 % of the 10 h watched).", "The path was up 99.9 % of the month."] {
        assert_eq!(bare_shares(good), [""; 0], "{good}");
    }
    assert_eq!(bare_odds("It is about 19 in 20. Fine.").len(), 1);
    assert_eq!(bare_odds("It is about 19 in 20 that it holds."), [""; 0]);
}

#[test]
fn the_verdict_and_its_reasons_come_first_and_are_short() {
    for (name, s) in
        all().into_iter().filter(|(n, _)| *n != "hostile").chain(judged().into_iter().map(|(n, _, s)| (n, s)))
    {
        let text = terminal::verdict(&s, &zone(), 80);
        // What a homeowner reads ends where the requirements or, without any, the other questions begin.
        let details = ["REQUIREMENT BY", "WHAT ELSE WAS", "WOULD AN ALARM", "HOW SHARP", "WHAT HAPPENED"];
        let end = details.iter().filter_map(|d| text.find(d)).min().expect("details follow");
        let head = &text[..end];
        let lines = head.lines().count();
        // One screen of a homeowner's patience, and what to mend.
        assert!(lines <= 46 + 4 * s.mend.len(), "{name}: {lines} lines before the details");
        assert!(head.starts_with(s.verdict.kind.words()), "{name}");
        let why = head.split("WHY\n").nth(1).expect("reasons").split("\n\n").next().expect("a part");
        assert!((1..=3).contains(&why.lines().filter(|l| l.starts_with("- ")).count()), "{name}: {why}");
    }
}
