//! One record, one number: every count and total that a record has, read out of each form it is rendered in and compared
//! with the others. The forms are parsed, not their builders; the JSON's own numbers are the measure.

use super::told::{Length, between, count_before, flat, listed, page_text, rows, section, share};
use super::{judged, papers, snapshots};
use pathproof::metrics::{Board, Form, exposition};
use pathproof::show::page::{Look, home, technician};
use pathproof::show::paper::{to_html, to_text};
use pathproof::show::{json, report, terminal};
use pathproof::snapshot::{Snapshot, Trouble};
use serde_json::Value;

const WEEK: f64 = 604_800.0;
/// A verdict's word, its title, the letter's, and the answer on the household's page.
const VERDICTS: [[&str; 4]; 4] = [
    ["ip-alone", "IP alone is enough", "Your internet alone is good enough", "Yes."],
    ["mend-first", "Mend this first", "Something should be mended first", "Not yet."],
    ["add-cellular", "Add a cellular backup", "Your alarm needs a second way out", "No."],
    ["keep-watching", "Keep watching", "It is too early to say", "Not known yet."],
];

/// One record in every form.
#[derive(Clone)]
struct Rendered {
    json: String,
    terminal: String,
    report: String,
    record: String,
    record_page: String,
    letter: String,
    ticket: String,
    ticket_data: Value,
    home: String,
    technician: String,
    metrics: String,
}

fn render(s: &Snapshot) -> Rendered {
    let zone = snapshots::zone();
    let now_s = s.watch.elapsed_s;
    let look = Look { snapshot: s, zone: &zone, now_s, sends: &[], record: "home.db" };
    let all = papers(s);
    let paper = |word| &all.iter().find(|p| p.0 == word).expect("such a paper").1;
    let board = Board::of(s, now_s);
    Rendered {
        json: json::to_json(s),
        terminal: terminal::verdict(s, &zone, 80),
        report: report::to_html(s, &zone),
        record: to_text(paper("survey-record"), 80),
        record_page: to_html(paper("survey-record")),
        letter: to_text(paper("letter"), 80),
        ticket: to_text(paper("ticket"), 80),
        ticket_data: paper("ticket").data.clone(),
        home: home(&look),
        technician: technician(&look, None),
        metrics: exposition(&board, now_s, Form::Text),
    }
}

/// Sum of a metric over its labels.
fn metric(text: &str, name: &str) -> f64 {
    let of = |l: &str| l.strip_prefix(name)?.strip_prefix(['{', ' '])?.rsplit(' ').next()?.parse::<f64>().ok();
    text.lines().filter_map(of).sum()
}

fn middle(edge: &Value) -> Option<f64> {
    edge.get(1)?.as_f64()
}

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap_or(f64::NAN)
}

/// Length of spans together, by cutting the record at every edge: what two share is one piece.
fn together(spans: &[[f64; 2]]) -> f64 {
    let mut cuts: Vec<f64> = spans.iter().flatten().copied().collect();
    cuts.sort_by(f64::total_cmp);
    let inside = |a: f64, b: f64| spans.iter().any(|[from, to]| *from <= a && *to >= b);
    cuts.windows(2).filter(|w| inside(w[0], w[1])).map(|w| w[1] - w[0]).sum()
}

/// The outages of the JSON as spans, each with who acts.
fn outages(v: &Value) -> Vec<([f64; 2], String)> {
    let end = number(&v["watch"], "elapsed_s");
    let of = |t: &Value| {
        let from = middle(&t["down_from_s"])?;
        Some(([from, middle(&t["down_to_s"]).unwrap_or(end)], t["who"].as_str()?.to_owned()))
    };
    v["troubles"].as_array().into_iter().flatten().filter(|t| t["outage"] == true).filter_map(of).collect()
}

/// What is wrong, in words; nothing where all forms agree.
struct Wrong(Vec<String>);

impl Wrong {
    #[expect(clippy::needless_pass_by_value, reason = "called with literals and with what was parsed just before")]
    fn same<T: PartialEq + std::fmt::Debug>(&mut self, what: &str, told: T, truth: T) {
        if told != truth {
            self.0.push(format!("{what}: {told:?}, not {truth:?}"));
        }
    }

    fn length(&mut self, what: &str, told: Option<&str>, truth: f64) {
        match told.and_then(Length::of) {
            Some(l) if l.tells(truth) => {}
            other => self.0.push(format!("{what}: {told:?} ({other:?}), not {truth} s")),
        }
    }
}

fn disagreements(r: &Rendered) -> Vec<String> {
    let v: Value = serde_json::from_str(&r.json).expect("parses");
    let mut wrong = Wrong(Vec::new());
    let long = [
        ("terminal", flat(&r.terminal)),
        ("report", page_text(&r.report)),
        ("record", flat(&r.record)),
        ("record's page", page_text(&r.record_page)),
        ("technician", page_text(&r.technician)),
    ];
    verdict(&mut wrong, r, &v);
    watched(&mut wrong, r, &v, &long);
    counted(&mut wrong, r, &v, &long);
    tables(&mut wrong, r, &v);
    mend(&mut wrong, r, &v);
    choice(&mut wrong, &v, &long);
    wrong.0
}

/// The choice for today, its odds, hours and money, in the same lines in each form that tells them.
fn choice(wrong: &mut Wrong, v: &Value, long: &[(&str, String)]) {
    for line in v["verdict"]["today"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        for (form, told) in long {
            wrong.same(&format!("choice for today, {form}, {line}"), told.contains(&flat(line)), true);
        }
    }
}

fn verdict(wrong: &mut Wrong, r: &Rendered, v: &Value) {
    let word = v["verdict"]["kind"].as_str().expect("a word");
    let [_, title, letter, answer] = VERDICTS.into_iter().find(|x| x[0] == word).expect("one of four");
    let of = |html: &str, open: &str| between(html, open, "</").unwrap_or_default().to_owned();
    for (form, told) in [
        ("terminal", r.terminal.clone()),
        ("report", of(&r.report, "<h1>")),
        ("record", between(&r.record, "customer file\n\n", "\n").unwrap_or_default().to_owned()),
        ("record's page", of(&r.record_page, "<p class=\"lead\">")),
        ("technician", of(&r.technician, "<h1>")),
    ] {
        wrong.same(&format!("verdict, {form}"), told.starts_with(title), true);
    }
    wrong.same("verdict, letter", r.letter.starts_with(letter), true);
    let enough = page_text(&format!("<body><section{}", section(&r.home, "enough")));
    wrong.same("verdict, household", enough.contains(&format!("{answer} {title}")), true);
    wrong.same("verdict, metrics", metric(&r.metrics, &format!("pathproof_verdict{{verdict=\"{word}\"}}")), 1.0);
}

fn watched(wrong: &mut Wrong, r: &Rendered, v: &Value, long: &[(&str, String)]) {
    let (of, seen) = (number(&v["watch"], "elapsed_s"), number(&v["watch"], "observed_s"));
    let home = ("household", page_text(&r.home));
    for (form, text) in long.iter().chain([&home]) {
        wrong.length(&format!("watched, {form}"), between(text, "Watched for ", " the path was seen"), of);
        wrong.length(&format!("seen, {form}"), between(text, "the path was seen for ", " of that time"), seen);
    }
    let ticket = flat(&r.ticket);
    let covers = ticket.split_once(", of which the path was seen for ").map(|t| t.1);
    wrong.length("seen, ticket", covers, seen);
    let before = ticket.split_once(", of which the path was").unwrap_or_default().0;
    wrong.length("watched, ticket", before.rsplit_once(": ").map(|b| b.1), of);
    if of <= WEEK {
        let letter = flat(&r.letter);
        let none = || between(&letter, "In the ", " nothing of the path was seen");
        let whole = between(&letter, "watched the whole time, ", ".").or_else(none);
        let told =
            whole.or_else(|| Some(between(&letter, "The path was watched for ", ". ")?.split_once(" of the ")?.1));
        wrong.length("watched, letter", told, of);
    }
    wrong.same("watched, metrics", metric(&r.metrics, "pathproof_watched_span_seconds").round(), of.round());
    wrong.same("seen, metrics", metric(&r.metrics, "pathproof_watched_observed_seconds").round(), seen.round());
}

/// Troubles and outages of a long form: "12 troubles; each interrupted the path."
fn troubles(text: &str) -> Option<[usize; 2]> {
    if text.contains("No trouble in the time that was seen.") {
        return Some([0, 0]);
    }
    let all = count_before(text, " trouble; ").or_else(|| count_before(text, " troubles; "))?;
    let told = text.split_once(" trouble; ").or_else(|| text.split_once(" troubles; "))?.1;
    let cut = if told.starts_with("the path") {
        0
    } else if told.starts_with("each") || told.starts_with("it ") {
        all
    } else {
        told.split(' ').next()?.parse().ok()?
    };
    Some([all, cut])
}

fn times(word: &str, rest: &str) -> Option<usize> {
    match (word, rest.starts_with("times")) {
        ("once" | "once:", _) => Some(1),
        ("twice" | "twice,", _) => Some(2),
        (n, true) => n.parse().ok(),
        _ => None,
    }
}

fn counted(wrong: &mut Wrong, r: &Rendered, v: &Value, long: &[(&str, String)]) {
    let all = outages(v);
    let end = number(&v["watch"], "elapsed_s");
    let spans: Vec<[f64; 2]> = all.iter().map(|o| o.0).collect();
    let (n, down) = (spans.len(), together(&spans));
    let longest = |spans: &[[f64; 2]]| spans.iter().map(|[a, b]| b - a).fold(0.0, f64::max);
    let count = v["troubles"].as_array().map_or(0, Vec::len);
    for (form, text) in long {
        wrong.same(&format!("troubles and outages, {form}"), troubles(text), Some([count, n]));
        let noticed = count_before(text, " outages in the ").or_else(|| count_before(text, " outage in the "));
        if text.contains("Would the station notice") || text.contains("WOULD THE STATION NOTICE") {
            let told = if text.contains("No outage was seen, so") { Some(0) } else { noticed };
            wrong.same(&format!("outages a station may notice, {form}"), told, Some(n));
        }
        // As a reason, where the JSON has it as one.
        let reason = format!("{n} outage{}, ", if n == 1 { "" } else { "s" });
        let given = v["verdict"]["reasons"].as_array().into_iter().flatten().filter_map(Value::as_str);
        if given.filter(|x| x.starts_with(&reason) && x.contains(" in all")).count() > 0 {
            wrong.length(&format!("time down, {form}"), between(text, &reason, " in all"), down);
        }
    }
    for (who, title) in [("provider", "The internet provider"), ("station", "The monitoring station")] {
        let own: Vec<[f64; 2]> = all.iter().filter(|o| o.1 == who).map(|o| o.0).collect();
        let tell = page_text(&format!("<body><section{}", section(&r.technician, "tell")));
        let part = tell.split_once(title).map_or("", |t| t.1);
        let what = format!("outages of the {who}, technician");
        if own.is_empty() {
            wrong.same(&what, part.trim_start().starts_with("Nothing:"), true);
        } else {
            wrong.same(&what, part.split_whitespace().next().and_then(|w| w.parse().ok()), Some(own.len()));
            let told = part.split_once(" in all").map_or("", |t| t.0);
            wrong.length(&what, told.rsplit_once(", ").map(|t| t.1), together(&own));
            wrong.length(&what, between(part, " in all, the longest ", ". "), longest(&own));
        }
    }
    // The week before the record's end, as the letter and the household's page tell it.
    let from = (end - WEEK).max(0.0);
    let week: Vec<[f64; 2]> = spans.iter().filter(|s| s[1] > from).map(|s| [s[0].max(from), s[1]]).collect();
    let letter = flat(&r.letter);
    let told = letter.split_once("the path was cut ").map(|t| t.1);
    let many = told.and_then(|t| times(t.split(' ').next()?, t.split_once(' ')?.1));
    wrong.same("outages, letter", many.unwrap_or(0), week.len());
    match week.len() {
        0 => {}
        1 => wrong.length("time down, letter", told.and_then(|t| t.strip_prefix("once: for ")), together(&week)),
        _ => {
            wrong.length("time down, letter", told.and_then(|t| Some(t.split_once(", ")?.1)), together(&week));
            wrong.length("longest, letter", between(&letter, "The longest cut took ", ", on"), longest(&spans));
        }
    }
    let home = page_text(&r.home);
    let told = home.split_once("An alarm had no way out ").map(|t| t.1);
    let many = told.and_then(|t| times(t.split(' ').next()?, t.split_once(' ')?.1));
    wrong.same("outages, household", many.unwrap_or(0), week.len());

    let tickets: Vec<&Value> = r.ticket_data["tickets"].as_array().into_iter().flatten().collect();
    let own = tickets.iter().filter(|t| matches!(t["kind"].as_str(), Some("outage" | "storm")));
    let own: Vec<(usize, f64)> =
        own.map(|t| (t["outages"].as_array().map_or(0, Vec::len), middle(&t["down_s"]).unwrap_or(f64::NAN))).collect();
    wrong.same("outages, tickets", own.iter().map(|t| t.0).sum(), n);
    let sum: f64 = own.iter().map(|t| t.1).sum();
    wrong.same("time down, tickets", (sum * 10.0).round(), (down * 10.0).round());
    let ticket = flat(&r.ticket);
    if let Some(row) = between(&ticket, "last 90 days", " Of this cause:").filter(|_| end <= 90.0 * 86_400.0) {
        let told = row.split_once("All outages: ").map_or("", |t| t.1);
        let many = told.split([',', ' ']).next().and_then(|w| w.parse().ok()).unwrap_or(0);
        wrong.same("outages, ticket", many, n);
        if n > 0 {
            wrong.length("time down, ticket", told.split_once(", ").map(|t| t.1), down);
        }
        if n > 1 {
            wrong.length("longest, ticket", told.split_once("the longest ").map(|t| t.1), longest(&spans));
        }
    }
    wrong.same("outages, metrics", metric(&r.metrics, "pathproof_outages"), n as f64);
    let told = metric(&r.metrics, "pathproof_outages_length_seconds");
    wrong.same("time down, metrics", (told * 10.0).round(), (down * 10.0).round());
}

fn tables(wrong: &mut Wrong, r: &Rendered, v: &Value) {
    const ASKED: [&str; 3] = ["Asked", "Answers", "How quickly"];
    const REQUIRED: [&str; 5] = ["Requirement", "Asks for", "Seen", "Stands", "Source"];
    let forms = |id: &str, head: &[&str]| {
        [
            ("terminal", listed(&flat(&r.terminal), head)),
            ("report", rows(section(&r.report, id))),
            ("record", listed(&flat(&r.record), head)),
            ("record's page", rows(section(&r.record_page, id))),
            ("technician", rows(section(&r.technician, id))),
        ]
    };
    let required = v["requirements"].as_array().expect("a list");
    for (form, told) in forms("requirements", &REQUIRED) {
        wrong.same(&format!("requirements, {form}"), told.len(), required.len());
        for (row, truth) in told.iter().zip(required) {
            let name = truth["name"].as_str().expect("a name");
            let what = format!("requirement {name}, {form}");
            wrong.same(&what, row.first().map(|n| n.to_lowercase()), Some(name.to_lowercase()));
            let word = match truth["standing"].as_str() {
                Some("met") => "Holds.",
                Some("not-met") => "Does not hold.",
                _ => "Still open.",
            };
            wrong.same(&what, row.get(3).is_some_and(|c| c.starts_with(word)), true);
        }
    }
    let targets = v["targets"].as_array().expect("a list");
    let count = |t: &Value, key: &str| t[key].as_u64().unwrap_or(0);
    for (form, told) in forms("figures", &ASKED) {
        wrong.same(&format!("far ends, {form}"), told.len(), targets.len());
        for (row, truth) in told.iter().zip(targets) {
            let what = format!("{}, {form}", row.first().map_or("", String::as_str));
            let cell = row.get(1).map_or("", String::as_str);
            let (answered, asked) = match cell.strip_prefix("All ") {
                Some(n) => (n.split(' ').next(), n.split(' ').next()),
                None => (cell.split(' ').next(), between(cell, " of ", " question")),
            };
            let told = [answered, asked].map(|n| n.and_then(|n| n.parse().ok()).unwrap_or(0));
            wrong.same(&what, told, [count(truth, "answered"), count(truth, "asked")]);
            let lost = truth["loss"]["share"].as_f64().filter(|s| *s > 0.0);
            let told = row.get(2).and_then(|c| between(c, "Unanswered: ", " of the time"));
            wrong.same(&what, told.is_some(), lost.is_some());
            if let (Some(lost), Some(said)) = (lost, told) {
                // "less than 1 in 1000" bounds it; all else is near it.
                let near = share(said)
                    .is_some_and(|x| (x - lost).abs() <= (0.25 * lost).min(0.03) || said.starts_with("less"));
                wrong.same(&format!("{what}, share unanswered: {said} for {lost}"), near, true);
            }
        }
    }
    for (name, key) in [("pathproof_lane_questions_total", "asked"), ("pathproof_lane_answers_total", "answered")] {
        let truth: u64 = targets.iter().map(|t| count(t, key)).sum();
        wrong.same(name, metric(&r.metrics, name), truth as f64);
    }
}

fn mend(wrong: &mut Wrong, r: &Rendered, v: &Value) {
    let n = v["mend"].as_array().map_or(0, Vec::len);
    wrong.same("to mend, report", rows(section(&r.report, "mend")).len(), n);
    wrong.same("to mend, technician", rows(section(&r.technician, "mend")).len(), n);
    let text = flat(&r.terminal);
    let told = text.split_once("WHAT TO MEND").map_or("", |t| t.1);
    wrong.same("to mend, terminal", told.matches("- Fault: ").count(), n);
    let faults = rows(section(&r.record_page, "mended"));
    let open =
        |row: &&Vec<String>| row.last().is_some_and(|c| c.starts_with("to be mended") || c.starts_with("not mended"));
    wrong.same("to mend, record", faults.iter().filter(open).count(), n);
    wrong.same("to mend, metrics", metric(&r.metrics, "pathproof_mend_open"), n as f64);
    let to_do = section(&r.home, "do");
    let told = to_do.matches("<li>").count() + usize::from(to_do.contains("Because: "));
    wrong.same("to mend, household", told.min(5), n.min(5));
}

/// A site whose outages overlap: a second one begins before the first is over and ends after it.
fn overlapping() -> Snapshot {
    let mut s = judged().iter().find(|j| j.0 == "keep-watching").expect("the site").1.clone();
    let first = s.troubles[0].clone();
    let around = |x: f64| Some([x - 1.0, x, x + 1.0]);
    let (from, to) = (first.down_from_s.expect("an outage")[1] + 40.0, first.down_to_s.expect("over")[1] + 30.0);
    let second = Trouble { down_from_s: around(from), down_to_s: around(to), ..first };
    s.troubles.insert(1, second);
    for (t, number) in s.troubles.iter_mut().zip(1..) {
        t.number = number;
    }
    // What the judge itself would say of that many is not there to be told.
    s.ruling.as_mut().expect("one").verdict.reasons.retain(|r| !r.contains(" in all"));
    s.supervision.clear();
    s
}

#[test]
fn one_record_one_number_in_every_form() {
    for (site, s) in judged() {
        assert_eq!(disagreements(&render(s)), [""; 0], "{site}");
    }
    let shared = overlapping();
    assert_eq!(disagreements(&render(&shared)), [""; 0], "outages that overlap");
}

#[test]
fn a_number_that_differs_in_any_one_form_is_noticed() {
    let s = &judged().iter().find(|j| j.0 == "mend-first").expect("the site").1;
    let sound = render(s);
    let other = |text: &str, from: &str, to: &str| {
        assert!(text.contains(from), "{from} is not in {text}");
        text.replacen(from, to, 1)
    };
    let one = |change: &dyn Fn(&mut Rendered)| {
        let mut r = sound.clone();
        change(&mut r);
        disagreements(&r)
    };
    // What it holds is read here, so that the site may change.
    let v: Value = serde_json::from_str(&sound.json).expect("parses");
    let n = outages(&v).len();
    let all = v["troubles"].as_array().map_or(0, Vec::len);
    let target = v["targets"].as_array().and_then(|t| t.iter().find(|t| t["loss"]["share"].as_f64() > Some(0.0)));
    let [answered, asked] = ["answered", "asked"].map(|k| target.expect("one that lost")[k].as_u64().expect("a count"));
    let figures = format!("{answered} of {asked}");
    let (in_json, in_all) = (format!("\"answered\": {answered}"), format!("outages, {}", "9 min"));
    let down = between(&flat(&sound.terminal), " outages, ", " in all").expect("told").to_owned();
    let wrong_row = |text: &str| text.replace(&format!("{n}, {down} in all"), &format!("{n}, 9 min in all"));
    for (form, found) in [
        ("json", one(&|r| r.json = other(&r.json, &in_json, "\"answered\": 1"))),
        ("terminal, down", one(&|r| r.terminal = other(&r.terminal, &format!("outages, {down}"), &in_all))),
        ("terminal", one(&|r| r.terminal = other(&r.terminal, "Still open.", "Holds."))),
        ("report", one(&|r| r.report = other(&r.report, &figures, "3 of 4"))),
        ("record", one(&|r| r.record = other(&r.record, "Watched for 1 h", "Watched for 2 h"))),
        (
            "record's page",
            one(&|r| r.record_page = other(&r.record_page, &format!("{all} troubles; "), "31 troubles; ")),
        ),
        ("letter", one(&|r| r.letter = other(&r.letter, &format!("cut {n} times"), "cut 31 times"))),
        ("ticket", one(&|r| r.ticket = wrong_row(&r.ticket))),
        ("household", one(&|r| r.home = other(&r.home, &format!("no way out {n} times"), "no way out once"))),
        ("technician", one(&|r| r.technician = other(&r.technician, "<h1>Mend", "<h1>Keep"))),
        (
            "metrics",
            one(&|r| {
                r.metrics =
                    other(&r.metrics, "pathproof_outages{", "pathproof_outages{cause=\"other\"} 1\npathproof_outages{");
            }),
        ),
    ] {
        assert!(!found.is_empty(), "{form}");
    }
}
