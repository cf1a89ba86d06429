//! Every number of a paper comes from the snapshot: recomputed here from its outages and figures, by other means where
//! there are any, and nothing with a digit is left over.

use super::{judged, papers, snapshots::zone};
use jiff::Timestamp;
use pathproof::show::paper::Paper;
use pathproof::show::say::length;
use pathproof::show::words::{millis, percent, span};
use pathproof::snapshot::{Snapshot, odds};
use pathproof::worksheet::chain::Held;
use std::collections::{BTreeMap, BTreeSet};

const DAY: f64 = 86_400.0;

/// Outages as (from, to), seconds, each edge's middle.
fn cuts(s: &Snapshot) -> Vec<(f64, f64)> {
    let mid = |e: [f64; 3]| e[1];
    let of = s.troubles.iter().filter(|t| t.outage);
    of.map(|t| (mid(t.down_from_s.expect("an outage has a start")), t.down_to_s.map_or(s.watch.elapsed_s, mid)))
        .collect()
}

/// Seconds down in a window, by marking each tenth of a second that lies in a cut.
fn down(cuts: &[(f64, f64)], from: f64, to: f64) -> f64 {
    let tenth = |s: f64| ((s.clamp(from, to) - from) * 10.0).round() as usize;
    let mut marked = vec![false; tenth(to)];
    for (a, b) in cuts {
        marked[tenth(*a)..tenth(*b)].fill(true);
    }
    marked.iter().filter(|m| **m).count() as f64 / 10.0
}

fn wall(s: &Snapshot, at_s: f64) -> jiff::ZonedDateTime {
    let us = s.watch.began.0 + (at_s * 1e6) as i64;
    Timestamp::from_microsecond(us).expect("a time").to_zoned_datetime(zone())
}

fn paper(s: &Snapshot, word: &str) -> Paper {
    papers(s).into_iter().find(|p| p.0 == word).expect("such a paper").1
}

#[test]
fn the_letter_counts_what_the_snapshot_holds() {
    for (site, s) in judged() {
        let to = s.watch.elapsed_s;
        let from = (to - 7.0 * DAY).max(0.0);
        let all: Vec<(f64, f64)> = cuts(s).into_iter().filter(|(a, b)| *b > from && *a < to).collect();
        let texts = paper(s, "letter");
        let texts = texts.texts().join("\n");
        let seen = length(s.watch.observed_s.min(7.0 * DAY));
        let when = |at| wall(s, at).strftime("%A %-d %B, %H:%M").to_string();
        let longest = all.iter().copied().max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
        let want = match (all.len(), longest) {
            (0, _) if s.watch.observed_s < 1.0 => "Nothing was seen of the path".to_owned(),
            (0, _) => format!("In {seen} of watching, the path was never cut."),
            (1, Some((a, b))) => format!("the path was cut once: for {}, on {}.", length(b - a), when(a)),
            (n, Some((a, b))) => format!(
                "the path was cut {}, {} in all. The longest cut took {}, on {}.",
                if n == 2 { "twice".to_owned() } else { format!("{n} times") },
                length(down(&all, from, to)),
                length(b - a),
                when(a)
            ),
            (_, None) => unreachable!("a longest of some"),
        };
        assert!(texts.contains(&want), "{site}: {want}\n{texts}");
        if let Some(d) = s.ruling.as_ref().and_then(|r| r.delivery.as_ref()) {
            let want = match d.missed {
                [_, 0.0] => format!("All of them would have got through within {}.", length(d.within_s)),
                [a, b] if thousand(a) == thousand(b) => format!("{} of them would not have got", thousand(a)),
                [a, b] => format!("Between {} and {} of them would not have got", thousand(a), thousand(b)),
            };
            assert!(texts.contains(&want), "{site}: {want}\n{texts}");
        }
    }
}

#[test]
fn tickets_hold_the_outages_and_count_them_over_their_windows() {
    for (site, s) in judged() {
        let ticket = paper(s, "ticket");
        let all = cuts(s);
        let mut by_days: BTreeMap<u32, f64> = BTreeMap::new();
        let tickets = ticket.data["tickets"].as_array().expect("tickets");
        for t in tickets {
            for o in t["outages"].as_array().expect("outages") {
                let n = o["trouble"].as_u64().expect("a number");
                let trouble = s.troubles.iter().find(|t| u64::from(t.number) == n).expect("in the snapshot");
                let utc = |e: [f64; 3]| wall(s, e[1]).timestamp().strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
                assert_eq!(o["from_utc"], utc(trouble.down_from_s.expect("an outage")), "{site}");
                assert_eq!(o["to_utc"].as_str().map(str::to_owned), trouble.down_to_s.map(utc), "{site}");
            }
            for h in t["history"].as_array().expect("history") {
                let days = h["days"].as_f64().expect("days");
                let from = (s.watch.elapsed_s - days * DAY).max(0.0);
                let inside: Vec<(f64, f64)> = all.iter().copied().filter(|(_, b)| *b > from).collect();
                assert_eq!(h["outages"][0].as_u64(), Some(inside.len() as u64), "{site}, {days}");
                let told = h["down_s"][0].as_f64().expect("seconds");
                let want = by_days.entry(days as u32).or_insert_with(|| down(&inside, from, s.watch.elapsed_s));
                assert!((told - *want).abs() < 0.2 * (1.0 + inside.len() as f64), "{site}, {days}: {told}, {want}");
                let longest = inside.iter().fold(0.0, |m: f64, (a, b)| m.max(b - a));
                assert!((h["longest_s"][0].as_f64().expect("seconds") - longest).abs() < 1e-3, "{site}, {days}");
            }
            // Whether the station would have known: an outage surely longer than the interval, or surely not.
            let worst = t["outages"].as_array().expect("outages").iter().map(|o| &o["length_s"]);
            let worst = worst.max_by(|a, b| a[1].as_f64().partial_cmp(&b[1].as_f64()).expect("numbers"));
            for k in t["known"].as_array().expect("intervals") {
                let (interval, length) = (k["interval_s"].as_f64(), worst.expect("an outage"));
                let want = if length[0].as_f64() > interval {
                    Some(true)
                } else if length[2].as_f64() <= interval {
                    Some(false)
                } else {
                    None
                };
                assert_eq!(k["noticed"].as_bool(), want, "{site}: {interval:?} {length}");
            }
        }
    }
}

/// Units that belong to the number before them.
const UNITS: [&str; 17] = [
    "h", "min", "s", "ms", "d", "day", "days", "hour", "hours", "minute", "minutes", "second", "seconds", "%", "times",
    "mA", "Ah",
];

/// Numbers as they stand in a text: digits with points, colons, dashes and slashes between them, with their unit.
fn numbers(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut words = text.split_whitespace().peekable();
    while let Some(word) = words.next() {
        let joined = |c: char| c.is_ascii_digit() || ".:-/".contains(c);
        let all = word.split(|c: char| !joined(c)).map(|n| n.trim_matches(|c: char| !c.is_ascii_digit()));
        let all: Vec<&str> = all.filter(|n| n.chars().any(|c| c.is_ascii_digit())).collect();
        // A unit follows only where the number ends its word.
        let whole = word.ends_with(|c: char| c.is_ascii_digit());
        let next = words.peek().map(|w| w.trim_end_matches(|c: char| !(c.is_alphanumeric() || c == '%')));
        let unit = next.filter(|u| whole && UNITS.contains(u));
        for (i, n) in all.iter().enumerate() {
            match unit {
                Some(u) if i + 1 == all.len() => out.push(format!("{n} {u}")),
                _ => out.push((*n).to_owned()),
            }
        }
    }
    out
}

/// What a number of the snapshot stands for, and so how it may be printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sort {
    /// Seconds since the watch began, or a length.
    Seconds,
    Millis,
    /// A share, a probability or a limit of one.
    Share,
    /// Hours a year.
    Hours,
    /// How many, or any whole number.
    Whole,
}

impl Sort {
    /// By the key it stands under.
    fn of(key: &str, whole: bool) -> Self {
        match key {
            _ if key.ends_with("_s") => Self::Seconds,
            _ if key.ends_with("_ms") => Self::Millis,
            "low" | "middle" | "high" => Self::Hours,
            _ if whole => Self::Whole,
            _ => Self::Share,
        }
    }
}

/// Every string and number of a JSON value, numbers with what they stand for.
fn leaves(key: &str, v: &serde_json::Value, strings: &mut Vec<String>, numbers: &mut Vec<(Sort, f64)>) {
    match v {
        serde_json::Value::String(s) => strings.push(s.clone()),
        serde_json::Value::Number(n) => {
            numbers.extend(n.as_f64().map(|x| (Sort::of(key, n.is_u64() || n.is_i64()), x)));
        }
        // Rows of a table over lengths of time: the first of each is the length.
        serde_json::Value::Array(all) if matches!(key, "by_time" | "noticed") && all.iter().all(|v| !v.is_array()) => {
            let (length, rest) = all.split_first().expect("a row");
            leaves("length_s", length, strings, numbers);
            for v in rest {
                leaves("share", v, strings, numbers);
            }
        }
        serde_json::Value::Array(all) => all.iter().for_each(|v| leaves(key, v, strings, numbers)),
        serde_json::Value::Object(map) => map.iter().for_each(|(key, v)| leaves(key, v, strings, numbers)),
        _ => {}
    }
}

/// How one number of the snapshot may be printed: by the rule of what it stands for, and no other.
fn printed(sort: Sort, x: f64) -> Vec<String> {
    match sort {
        Sort::Seconds => vec![span(x), length(x), span(x).replace(".0 s", " s")],
        Sort::Millis => vec![millis(x)],
        Sort::Share => vec![odds(x), odds(1.0 - x), percent(x), thousand(x), two_digits(x * 1_000.0)],
        Sort::Hours => vec![two_digits(x)],
        Sort::Whole => vec![format!("{x}")],
    }
}

/// Two digits of a figure below ten, whole above; nothing is none.
fn two_digits(x: f64) -> String {
    match x {
        0.0 => "0".to_owned(),
        x if x < 1.0 => format!("{x:.2}"),
        x if x < 10.0 => format!("{x:.1}"),
        x => format!("{x:.0}"),
    }
}

/// A share as so many of a thousand, as the letter puts it.
fn thousand(x: f64) -> String {
    match x * 1_000.0 {
        x if x < 10.0 => format!("{x:.1}"),
        x => format!("{x:.0}"),
    }
}

/// Numbers that any paper may hold whatever the site: of sentences that never change.
const ALWAYS: &str = "99.9 % 0.1 % 7 days 30 days 90 days 1 d 3 h 4 h 2.0 h 8.0 h 24.0 h 1000 999 19 20 9 10 95 100 7 30 90 DC-05 DC-03 0 1 2 \
    256 5 15 35 4500 UTC+01:00 1929 1936 2000 2016 CP-4780 4 IEEE 1366 485 B258 70 80 3 6598 12 1981";

/// Outages close together are told as one, with their least and most, seconds.
fn least_and_most(s: &Snapshot) -> [f64; 2] {
    s.troubles.iter().filter(|t| t.outage).fold([0.0, 0.0], |[least, most], t| {
        let (f, to) = (t.down_from_s.expect("an outage"), t.down_to_s.unwrap_or([s.watch.elapsed_s; 3]));
        [least + to[0] - f[2], most + to[2] - f[0]]
    })
}

/// Starts, of all between two check-ins, from which the silence runs out, in percent; the least that is told is 1 %.
fn chances(s: &Snapshot, cuts: &[(f64, f64)]) -> Vec<String> {
    let mut out = vec![1.0];
    for v in &s.supervision {
        let Some(p) = v.check_in_s else { continue };
        let grace = v.interval_s - p;
        out.extend(cuts.iter().map(|(a, b)| 100.0 * ((b - a - grace) / p).clamp(0.0, 1.0)));
    }
    out.iter().map(|c| format!("{c:.0} %")).collect()
}

/// What may stand in a paper of this snapshot, recomputed: lengths, times, shares, counts.
fn allowed(s: &Snapshot) -> BTreeSet<String> {
    let (mut strings, mut known) = (Vec::new(), Vec::new());
    leaves("", &serde_json::to_value(s).expect("serialises"), &mut strings, &mut known);
    let power = super::power(s);
    let sheet = pathproof::worksheet::sheet::sheet(&power);
    leaves("", &serde_json::to_value(&sheet).expect("serialises"), &mut strings, &mut Vec::new());
    strings.push(format!("{:?} {:?}", super::origin(), super::entered()));
    strings.push(ALWAYS.to_owned());
    strings.extend(pathproof::worksheet::chain::stages(&power).iter().filter_map(|stage| match stage.held {
        Held::Measured(h) | Held::WorkedOut(h) => Some(span(h.get() * 3_600.0)),
        Held::Breaks(_) | Held::Unknown(_) => None,
    }));
    let all = cuts(s);
    let end = s.watch.elapsed_s;
    let seconds = |(sort, x): &(Sort, f64)| (*sort == Sort::Seconds).then_some(*x);
    let mut times: Vec<f64> = known.iter().filter_map(seconds).collect();
    let mut lengths: Vec<f64> = times.clone();
    lengths.extend(all.iter().flat_map(|(a, b)| [b - a, end - b]));
    for (t, o) in s.troubles.iter().flat_map(|t| s.troubles.iter().map(move |o| (t, o))) {
        let ends = |t: &pathproof::snapshot::Trouble| t.end_s.into_iter().chain(t.down_to_s).collect::<Vec<_>>();
        lengths.extend(ends(t).iter().map(|e| o.start_s[1] - e[1]));
    }
    for t in &s.troubles {
        for (from, to) in [(Some(t.start_s), t.end_s), (t.down_from_s, t.down_to_s)] {
            let (Some(f), to) = (from, to.unwrap_or([end; 3])) else { continue };
            lengths.extend([
                to[0] - f[2],
                to[1] - f[1],
                to[2] - f[0],
                f[1] - f[0],
                f[2] - f[1],
                to[1] - to[0],
                end - to[1],
            ]);
        }
    }
    for days in [7.0, 30.0, 90.0, 1e9] {
        let from = (end - days * DAY).max(0.0);
        lengths.extend([end - from, down(&all, from, end), (end - from) - s.watch.observed_s]);
    }
    lengths.extend(least_and_most(s));
    strings.extend(chances(s, &all));
    if let Some(d) = s.ruling.as_ref().and_then(|r| r.detection.as_ref()) {
        lengths.push(d.every_s * f64::from(d.run));
    }
    for l in &s.lanes {
        for state in [0, 1, 2, 3] {
            let of = l.stretches.iter().filter(|x| x.state as i32 == state);
            lengths.push(of.map(|x| x.to_s - x.from_s).sum());
        }
    }
    // Steps of a far end's course in which nothing came back, or nothing was asked; the decades they all lie between.
    let courses = || s.targets.iter().filter_map(|t| t.course.as_ref());
    for c in courses() {
        let of =
            |asked: bool| c.asked.iter().zip(&c.mean_ms).filter(|(n, ms)| ms.is_none() && (**n > 0) == asked).count();
        let after = ((end / c.step_s) as usize).saturating_sub(c.asked.len());
        lengths.extend([of(true), of(false) + after].map(|n| n as f64 * c.step_s));
    }
    let least = courses().flat_map(|c| c.mean_ms.iter().flatten()).copied().fold(f64::MAX, f64::min);
    let most = courses().flat_map(|c| c.most_ms.iter().flatten()).copied().fold(0.0, f64::max);
    strings.extend([least.log10().floor(), most.log10().ceil()].map(|d| format!("{} ms", 10f64.powf(d))));
    // A masked address keeps its first half, and its prefix.
    let halves: Vec<String> = strings
        .iter()
        .flat_map(|s| s.split_whitespace())
        .map(|w| (w.split('.').take(2).collect::<Vec<_>>().join("."), w.split('/').nth(1).unwrap_or("")))
        .map(|(half, prefix)| format!("{half} {prefix}"))
        .collect();
    let mut phrases = strings;
    phrases.extend(halves);
    let made = super::origin().made.expect("told").0;
    let made = Timestamp::from_microsecond(made).expect("a time").to_zoned_datetime(zone());
    phrases.push(made.strftime("%-d %b %Y %H:%M:%S").to_string());
    for x in lengths {
        phrases.extend([span(x), length(x), format!("{} days", (x / DAY).ceil())]);
    }
    times.extend([7.0, 30.0, 90.0].map(|days| (end - days * DAY).max(0.0)));
    for x in times.iter().filter(|x| (-1.0..=end + 1.0).contains(*x)) {
        let at = wall(s, *x);
        for pattern in [
            "%A %-d %B, %H:%M",
            "%-d %B %Y",
            "%-d %b %H:%M:%S",
            "%Y-%m-%d %H:%M:%S",
            "%Y%m%d",
            "%-d %b %Y %H:%M:%S",
            "%H:%M:%S%.1f",
            "%H",
        ] {
            phrases.push(at.strftime(pattern).to_string());
        }
        let utc = at.timestamp().to_zoned_datetime(jiff::tz::TimeZone::UTC);
        phrases.push(utc.strftime("%Y-%m-%dT%H:%M:%SZ %Y%m%d-%H%M").to_string());
        phrases.push(at.strftime("UTC%:z").to_string());
    }
    phrases.extend(known.iter().flat_map(|(sort, x)| printed(*sort, *x)));
    // Counts: of outages, troubles and of both by hour, day and cause, none above the number of troubles and tickets.
    phrases.extend((0..=s.troubles.len() + 1).map(|n| format!("{n} times {n}.")));
    phrases.iter().flat_map(|p| numbers(p)).collect()
}

/// Which classes of the reference library a cause's codes may be of, beside communication trouble and the test report
/// whose absence is the event (a choice, after the names of the classes): what takes the mains shows as system trouble,
/// and so does a communicator that restarts; a wrong clock in the log of events alone.
fn classes(cause: &str) -> &'static [&'static str] {
    match cause {
        "site-power" | "street-power" | "dead-backup" | "communicator-absent" => {
            &["Communication Trouble", "Test/Misc", "System Trouble"]
        }
        "mains-lost" => &["System Trouble"],
        "clock-offset" => &["Event Log"],
        "agent-pulled" | "host-restart" | "agent-stopped" => &[],
        _ => &["Communication Trouble", "Test/Misc"],
    }
}

/// The event codes that a paper's tickets quote. Each is a row of the reference libraries' table ([SIADC09], [PYSIA32])
/// that goes with the letters beside it and is of a class that the ticket's cause may have, which is one of the snapshot's.
fn codes_of(s: &Snapshot, data: &serde_json::Value) -> Result<BTreeSet<String>, String> {
    let table = include_str!("../fixtures/event-codes.csv");
    let rows: Vec<Vec<&str>> =
        table.lines().map(|l| l.split(',').collect()).filter(|r: &Vec<_>| r[0] == "number").collect();
    let mut all = BTreeSet::new();
    for t in data["tickets"].as_array().into_iter().flatten() {
        let cause = t["cause"].as_str().expect("words");
        let happened = s.troubles.iter().any(|x| x.cause.word() == cause);
        for code in t["codes"].as_array().into_iter().flatten() {
            let told = |key: &str| code[key].as_str().expect("words");
            for n in told("contact_id").split(", ").filter(|n| *n != "none") {
                let row = rows.iter().find(|r| r[1] == n).ok_or(format!("no code {n}"))?;
                let pair = if row[4] == row[5] { row[4].to_owned() } else { format!("{} / {}", row[4], row[5]) };
                if !told("letters").starts_with(&pair) {
                    return Err(format!("{n} goes with {pair}: {code}"));
                }
                if !happened || !classes(cause).contains(&row[3]) {
                    return Err(format!("{n} is {}, the cause {cause}, seen: {happened}", row[3]));
                }
                all.insert(n.to_owned());
            }
        }
    }
    Ok(all)
}

#[test]
fn no_number_of_a_paper_is_left_unexplained() {
    let (mut read, mut left) = (0, BTreeSet::new());
    for (site, s) in judged() {
        let allowed = allowed(s);
        for (word, paper) in papers(s) {
            let of_causes = codes_of(s, &paper.data).expect(site);
            let mark = |id: &str| id.rsplit_once('-').map_or(String::new(), |m| m.1.to_owned());
            let ids: Vec<String> = paper.data["tickets"]
                .as_array()
                .into_iter()
                .flatten()
                .map(|t| mark(t["id"].as_str().expect("a name")))
                .collect();
            for text in paper.texts() {
                let text = ids.iter().fold(text.to_owned(), |t, id| t.replace(id, ""));
                for n in numbers(&text) {
                    read += 1;
                    if !allowed.contains(&n) && !of_causes.contains(&n) {
                        left.insert(format!("{site}, {word}: {n} in: {text}"));
                    }
                }
            }
        }
    }
    assert!(left.is_empty(), "{left:#?}");
    assert!(read > 2_000, "only {read} numbers read");
}

#[test]
fn a_number_from_nowhere_is_noticed() {
    let (_, s) = &judged()[2];
    let allowed = allowed(s);
    for made_up in ["3 h 17 min", "873", "2026-03-11 04:44:44", "12345", "301", "356"] {
        assert!(numbers(made_up).iter().any(|n| !allowed.contains(n)), "{made_up}");
    }
}

#[test]
fn numbers_that_are_one_off_are_often_noticed() {
    // Every number of every paper of the site, its last digit one more. Counts below ten, and times of a site with
    // many outages, stay explained by another number: measured 0.67 and 0.47, bounds with a tenth to spare.
    for ((site, s), least) in [(&judged()[0], 0.57), (&judged()[2], 0.37)] {
        let allowed = allowed(s);
        let (mut read, mut noticed) = (0_u32, 0_u32);
        for (_, paper) in papers(s) {
            for n in paper.texts().iter().flat_map(|t| numbers(t)).filter(|n| allowed.contains(n)) {
                let at = n.rfind(|c: char| c.is_ascii_digit()).expect("a number");
                let more = (n.as_bytes()[at] - b'0' + 1) % 10;
                let wrong = format!("{}{more}{}", &n[..at], &n[at + 1..]);
                read += 1;
                noticed += u32::from(!allowed.contains(&wrong));
            }
        }
        println!("{site}: {noticed} of {read} wrong numbers noticed");
        assert!(f64::from(noticed) >= least * f64::from(read), "{site}: {noticed} of {read}");
    }
}

#[test]
fn a_wrong_code_in_a_ticket_is_noticed() {
    let mut tried = 0;
    for (site, s) in judged() {
        let data = &paper(s, "ticket").data;
        if data["tickets"][0]["codes"].as_array().is_none_or(Vec::is_empty) {
            continue;
        }
        codes_of(s, data).expect(site);
        // No such number; another cause's; a number beside letters that are not its own.
        for (number, letters) in [("399", "YC / YK"), ("625", "JT"), ("354", "LT / LR")] {
            let mut wrong = data.clone();
            wrong["tickets"][0]["codes"][0]["contact_id"] = number.into();
            wrong["tickets"][0]["codes"][0]["letters"] = letters.into();
            assert!(codes_of(s, &wrong).is_err(), "{site}: {number} {letters}");
            tried += 1;
        }
    }
    assert!(tried >= 9, "{tried}");
}

#[test]
fn a_number_is_printed_by_the_rule_of_its_own_kind() {
    // Each explains what its own rule makes of it, and not what another's would.
    for (sort, x, is, is_not) in [
        (Sort::Seconds, 95.0, "1 min 35 s", "95"),
        (Sort::Millis, 12.4, "12 ms", "12 s"),
        (Sort::Share, 0.5, "50 %", "0.50"),
        (Sort::Share, 0.0042, "4.2", "4"),
        (Sort::Hours, 0.56, "0.56", "56 %"),
        (Sort::Whole, 7.0, "7", "7 s"),
    ] {
        let all: BTreeSet<String> = printed(sort, x).iter().flat_map(|p| numbers(p)).collect();
        let has = |words: &str| numbers(words).iter().all(|n| all.contains(n));
        assert!(has(is) && !has(is_not), "{sort:?} {x}: {all:?}");
    }
}
