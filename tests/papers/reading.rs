//! The letter can be read by anybody: short sentences, easy words, no term of the trade, no unexplained abbreviation.
//!
//! Ease by Flesch [FLESCH48]: 206.835 - 1.015 words a sentence - 84.6 syllables a
//! word; 60 and more is "plain English" in his table. Syllables are counted by their vowels, which errs by a little.

use super::{judged, papers};
use pathproof::judge::Cause;
use pathproof::show::paper::{Block, Paper};
use pathproof::words::causes;

/// Words a homeowner need not know.
const JARGON: [&str; 44] = [
    "gateway",
    "latency",
    "packet",
    "lease",
    "subnet",
    "resolver",
    "carrier",
    "supervision",
    "interval",
    "posterior",
    "confidence",
    "outage",
    "availability",
    "lane",
    "blind",
    "endpoint",
    "firewall",
    "protocol",
    "handshake",
    "timeout",
    "probe",
    "throughput",
    "jitter",
    "provider-side",
    "DNS",
    "DHCP",
    "NAT",
    "TCP",
    "TLS",
    "UDP",
    "ICMP",
    "ARP",
    "IP",
    "IPv4",
    "IPv6",
    "LAN",
    "WAN",
    "UPS",
    "MTU",
    "RTT",
    "RFC",
    "SNMP",
    "coverage",
    "mains-lost",
];

/// Abbreviations that explain themselves where they stand: the zone of the times.
const KNOWN: [&str; 3] = ["CET", "CEST", "UTC"];

fn sentences(paper: &Paper) -> Vec<String> {
    let mut out = Vec::new();
    for b in &paper.blocks.0 {
        let texts: Vec<&String> = match b {
            Block::Lead { text } | Block::Say { text } => vec![text],
            Block::List { items } => items.iter().collect(),
            Block::Heading { .. } => continue,
            other => panic!("a letter has no {other:?}"),
        };
        for text in texts {
            out.extend(text.split_inclusive(['.', '?', ':']).map(|s| s.trim().to_owned()).fold(
                Vec::new(),
                |mut all: Vec<String>, part| {
                    // Neither a decimal point nor the colon of a time ends a sentence.
                    let goes_on = part.starts_with(|c: char| c.is_ascii_digit()) || part.starts_with("db");
                    match all.last_mut() {
                        Some(last) if goes_on && !last.ends_with(": ") => last.push_str(&part),
                        _ => all.push(part),
                    }
                    all
                },
            ));
        }
    }
    out.retain(|s| s.split_whitespace().count() > 1);
    out
}

fn words(sentence: &str) -> Vec<&str> {
    sentence.split(|c: char| !(c.is_alphanumeric() || c == '\'' || c == '-')).filter(|w| !w.is_empty()).collect()
}

fn syllables(word: &str) -> usize {
    let word = word.to_lowercase();
    let vowel = |c: char| "aeiouy".contains(c);
    let groups = word.chars().zip(word.chars().skip(1).chain([' '])).filter(|(a, b)| vowel(*a) && !vowel(*b)).count();
    let silent = word.ends_with('e') && !word.ends_with("le") && groups > 1;
    groups.saturating_sub(usize::from(silent)).max(1)
}

fn ease(sentences: &[String]) -> f64 {
    let all: Vec<&str> =
        sentences.iter().flat_map(|s| words(s)).filter(|w| w.chars().any(char::is_alphabetic)).collect();
    let syllables: usize = all.iter().map(|w| syllables(w)).sum();
    let words = all.len() as f64;
    206.835 - 1.015 * words / sentences.len() as f64 - 84.6 * syllables as f64 / words
}

fn jargon(text: &str) -> Vec<String> {
    let is_jargon = |w: &&str| {
        JARGON.iter().any(|j| {
            if j.chars().any(char::is_uppercase) { w == j } else { w.to_lowercase().trim_end_matches('s') == *j }
        })
    };
    let abbreviation = |w: &&str| {
        let capitals = w.chars().filter(char::is_ascii_uppercase).count();
        capitals >= 2 && w.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit()) && !KNOWN.contains(w)
    };
    words(text).into_iter().filter(|w| is_jargon(w) || abbreviation(w)).map(ToOwned::to_owned).collect()
}

#[test]
fn the_letter_is_plain() {
    for (site, s) in judged() {
        let (_, letter) = papers(s).into_iter().find(|p| p.0 == "letter").expect("a letter");
        let all = sentences(&letter);
        let longest = all.iter().max_by_key(|s| words(s).len()).expect("sentences");
        assert!(words(longest).len() <= 28, "{site}: {} words: {longest}", words(longest).len());
        let ease = ease(&all);
        println!("{site}: {} sentences, ease {ease:.0}, longest {} words", all.len(), words(longest).len());
        assert!(ease >= 60.0, "{site}: reading ease {ease:.1}");
        for text in letter.texts() {
            assert_eq!(jargon(text), [""; 0], "{site}: {text}");
        }
    }
}

#[test]
fn every_cause_is_told_without_jargon() {
    for cause in Cause::ALL {
        let text = causes::row(*cause).short;
        assert_eq!(jargon(text), [""; 0], "{text}");
        assert!(words(text).len() <= 14, "{text}");
    }
}

#[test]
fn the_checks_refuse_what_is_not_plain() {
    assert_eq!(jargon("The gateway lost its DHCP lease."), ["gateway", "DHCP", "lease"]);
    assert_eq!(jargon("Call the XYZ now."), ["XYZ"]);
    // Flesch's own measure: long words and long sentences are hard.
    let hard =
        ["The availability of internet connectivity infrastructure necessitates unconditional verification procedures"
            .to_owned()];
    assert!(ease(&hard) < 0.0);
    for (word, n) in [("alarm", 2), ("company", 3), ("the", 1), ("watched", 2), ("little", 2), ("a", 1)] {
        assert!(syllables(word).abs_diff(n) <= 1, "{word}: {}", syllables(word));
    }
}
