//! What a homeowner reads: no share without "of what" and "how long", in any text.
//!
//! The records come from the real judge, fed with what probes on simulated sites would have seen.
//! `PATHPROOF_READ=DIRECTORY cargo test --test plain_words` writes the texts there, to be read.

mod snapshots;

use pathproof::judge::{Known, Prior, VerdictKind};
use pathproof::show::{report, terminal};
use pathproof::snapshot::Snapshot;
use snapshots::{DAY, Fault, Site, all, fibre, zone};

/// Records besides those with golden files, one for each way a verdict can fall early and late.
fn judged() -> Vec<(&'static str, Snapshot)> {
    use VerdictKind::{AddCellular, IpAlone, KeepWatching, MendFirst};
    let site = |name, verdict, seconds, every, prior, faults: &[(Fault, i64, i64)]| {
        let known = Known { prior, ..fibre() };
        Site { known, faults: faults.to_vec(), ..Site::new(name, verdict, seconds, every) }
    };
    let of_fibre = fibre().prior;
    let sites = [
        site("half an hour, clean", KeepWatching, 1_800, 5, Prior::default(), &[]),
        site("a week, clean, fibre", IpAlone, 7 * DAY, 30, of_fibre, &[]),
        site("140 days, clean, fibre", IpAlone, 140 * DAY, 600, of_fibre, &[]),
        site(
            "an hour, a bad lead",
            MendFirst,
            3_600,
            5,
            of_fibre,
            &[(Fault::Lead, 900, 960), (Fault::Lead, 2_000, 2_040)],
        ),
        site("an hour, one cut", AddCellular, 3_600, 5, Prior::default(), &[(Fault::Line, 1_000, 1_040)]),
    ];
    snapshots::judged(&sites)
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
    let built = all().into_iter().filter(|(name, _)| *name != "hostile");
    let mut shares = 0;
    for (name, s) in built.chain(judged()) {
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
    for (name, s) in all().into_iter().filter(|(n, _)| *n != "hostile").chain(judged()) {
        let text = terminal::verdict(&s, &zone(), 80);
        // What a homeowner reads ends where the requirements or, without any, the other questions begin.
        let details = ["REQUIREMENT BY", "WHAT ELSE WAS", "WOULD AN ALARM", "HOW SHARP", "WHAT HAPPENED"];
        let end = details.iter().filter_map(|d| text.find(d)).min().expect("details follow");
        let head = &text[..end];
        let lines = head.lines().count();
        // A homeowner's patience: the choice for today in four lines of up to two, and what to mend.
        assert!(lines <= 54 + 4 * s.mend.len(), "{name}: {lines} lines before the details");
        assert!(head.starts_with(s.verdict().kind.words()), "{name}");
        let why = head.split("WHY\n").nth(1).expect("reasons").split("\n\n").next().expect("a part");
        assert!((1..=3).contains(&why.lines().filter(|l| l.starts_with("- ")).count()), "{name}: {why}");
    }
}
