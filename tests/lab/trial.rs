//! A trial: one scripted fault on a lab site, its truth as the script knows it, and what the survey made of it.
//!
//! A trial file holds a [`Trial`]: which causes are right, and a script that makes the fault at a random time and says
//! when. The survey is seen from outside only. Edges and detection are measured against the script's own clock.

use crate::place::{Place, Running, Said};
use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::{Entry, Judge, Known, Lane, Micros, Moment, Settings};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// One scripted fault.
pub(crate) struct Trial {
    /// Its name, short enough for a namespace.
    pub(crate) name: &'static str,
    /// Added to the site file.
    pub(crate) site: &'static str,
    /// Servers and addresses it needs before the survey starts.
    pub(crate) prepare: fn(&mut Place),
    /// Makes the fault and says what was true.
    pub(crate) play: fn(&mut Script<'_>),
    /// Length of the survey, seconds.
    pub(crate) seconds: u32,
}

/// One fault as it was made.
#[derive(Clone, Debug)]
pub(crate) struct Truth {
    /// Causes that are right, the best first: where two look the same from the host, both.
    right: &'static [&'static str],
    /// Causes that this host can't exclude: they must be named beside the first.
    also: &'static [&'static str],
    /// Seconds since the survey's start.
    from: f64,
    to: Option<f64>,
    /// When the script set about each: what makes a fault takes as long as its commands.
    about: [f64; 2],
    /// Whether its edges are to be held to a second: not where another fault hides them.
    sharp: bool,
}

/// What a script works with.
pub(crate) struct Script<'a> {
    pub(crate) place: &'a mut Place,
    pub(crate) running: &'a Running,
    start: f64,
    /// When the last wait was over.
    waited: std::cell::Cell<f64>,
    truths: Vec<Truth>,
}

impl Script<'_> {
    /// Waits for the trial's random moment.
    pub(crate) fn wait_for_start(&self) {
        self.running.until(self.start);
        self.waited.set(self.running.now());
    }

    /// Waits so many seconds more.
    pub(crate) fn pause(&self, seconds: f64) {
        self.running.until(self.running.now() + seconds);
        self.waited.set(self.running.now());
    }

    /// A fault that began just now, by one of these causes; returns its number.
    pub(crate) fn began(&mut self, right: &'static [&'static str]) -> usize {
        let (from, about) = (self.running.now(), [self.waited.get(); 2]);
        self.truths.push(Truth { right, also: &[], from, to: None, about, sharp: true });
        self.truths.len() - 1
    }

    /// It ended just now.
    pub(crate) fn ended(&mut self, number: usize) {
        (self.truths[number].to, self.truths[number].about[1]) = (Some(self.running.now()), self.waited.get());
    }

    /// What looks the same from this host, so that an honest answer names it as well.
    pub(crate) fn looks_like(&mut self, number: usize, also: &'static [&'static str]) {
        self.truths[number].also = also;
    }

    /// Another fault hides its edges.
    pub(crate) fn hidden(&mut self, number: usize) {
        self.truths[number].sharp = false;
    }
}

/// What one trial at one time came to.
#[derive(Debug, Default)]
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) seed: u64,
    /// Per truth: what was right and what was said, with its confidence.
    pub(crate) said: Vec<(&'static str, String, f64)>,
    /// Whether each was right.
    pub(crate) right: Vec<bool>,
    /// Whether any edge was held to the second.
    pub(crate) timed: bool,
    /// Largest edge error, seconds.
    pub(crate) edge: f64,
    /// Longest time from a fault to the first unanswered question's being known, from when on the agent looks closer, seconds.
    pub(crate) detection: f64,
    /// Longest time from a fault to the judge's calling a lane bad, seconds.
    pub(crate) called: f64,
    pub(crate) complaints: Vec<String>,
}

impl Row {
    /// A wrong cause said with more than this confidence is a grave error.
    const SURE: f64 = 0.9;
    /// Edges lie within this of the truth, seconds.
    pub(crate) const EDGE: f64 = 1.0;
    /// A fault is to be noticed within this, seconds.
    pub(crate) const DETECTION: f64 = 3.0;
    /// ... and called bad within this. What is asked of one target only, once a second, takes a turn (1 s), three questions
    /// (2 s), the patience (1.8 s) and a little; anything else is faster.
    pub(crate) const CALLED: f64 = 5.0;

    /// A trial that ended in a panic.
    pub(crate) fn not_played(name: &'static str, seed: u64) -> Self {
        let complaints = vec!["GRAVE: it could not be played; what it said is above".into()];
        Self { name, seed, right: vec![false], complaints, ..Self::default() }
    }

    fn complain(&mut self, words: String) {
        self.complaints.push(words);
    }
}

fn span(t: &Value) -> (f64, Option<f64>) {
    (t["start_s"][1].as_f64().expect("start"), t["end_s"][1].as_f64())
}

/// Seconds two spans share; open ends reach `end`.
fn shared(a: (f64, Option<f64>), b: (f64, Option<f64>), end: f64) -> f64 {
    a.1.unwrap_or(end).min(b.1.unwrap_or(end)) - a.0.max(b.0)
}

/// Plays a trial at the time its seed gives.
pub(crate) fn play(trial: &Trial, seed: u64) -> Row {
    let mut draw = Xoshiro256PlusPlus::seed_from_u64(seed ^ trial.name.bytes().fold(0, |h, b| h * 31 + u64::from(b)));
    let start = 15.0 + 10.0 * draw.random::<f64>();
    let mut place = Place::new(trial.name);
    place.site_file(trial.site);
    (trial.prepare)(&mut place);
    let running = place.begin(trial.seconds, &[]);
    let waited = std::cell::Cell::new(0.0);
    let mut script = Script { place: &mut place, running: &running, start, waited, truths: Vec::new() };
    (trial.play)(&mut script);
    let truths = script.truths;
    let said = place.end(running);
    let row = compare(trial, seed, &truths, &said);
    if !row.complaints.is_empty() || row.edge > Row::EDGE || row.detection > Row::DETECTION || row.called > Row::CALLED
    {
        place.keep_logs();
    }
    row
}

fn compare(trial: &Trial, seed: u64, truths: &[Truth], said: &Said) -> Row {
    let mut row = Row { name: trial.name, seed, ..Row::default() };
    let end = f64::from(trial.seconds);
    let (doubted, bad) = noticed(said);
    let mut claimed = vec![false; said.troubles().len()];
    for truth in truths {
        let about = (truth.from - 1.0, truth.to.map(|t| t + 1.0));
        // Time shared, as a part of the time either takes.
        let of = |t: &Value| {
            let whole = |s: (f64, Option<f64>)| s.1.unwrap_or(end) - s.0;
            let both = shared(about, span(t), end);
            both / (whole(about) + whole(span(t)) - both).max(0.1)
        };
        let mut near: Vec<usize> = (0..claimed.len()).filter(|i| of(&said.troubles()[*i]) > 0.0).collect();
        for i in &near {
            claimed[*i] = true;
        }
        let right = |i: &usize| truth.right.contains(&word(&said.troubles()[*i]));
        // The trouble that fits its time best speaks for it.
        near.sort_by(|a, b| of(&said.troubles()[*b]).total_cmp(&of(&said.troubles()[*a])));
        let best = if truth.sharp { near.first() } else { near.iter().find(|i| right(i)).or(near.first()) };
        let Some(best) = best else {
            row.said.push((truth.right[0], "nothing".into(), 0.0));
            row.right.push(false);
            row.complain(format!("{} from {:.1} s was not noticed", truth.right[0], truth.from));
            continue;
        };
        let t = &said.troubles()[*best];
        let confidence = t["confidence"].as_f64().unwrap_or(1.0);
        row.said.push((truth.right[0], word(t).to_owned(), confidence));
        row.right.push(right(best));
        if !right(best) {
            row.complain(format!("{} was called {} ({confidence:.2})", truth.right[0], word(t)));
        }
        let named = |cause: &&&str| {
            word(t) == **cause || t["not_excluded"].as_array().is_some_and(|others| others.iter().any(|o| o == **cause))
        };
        for missing in truth.also.iter().filter(|cause| !named(cause)) {
            row.complain(format!("{missing} looks the same and is not named beside {}", word(t)));
        }
        // A standing condition is seen at the turns that ask for it; only the path is watched by the second.
        // Of scattered losses chance decides when enough fell in a row to stop the path.
        let drawn = matches!(word(t), "loss-burst" | "lan-loss");
        if truth.sharp && !drawn && right(best) && t["outage"] == true {
            row.timed = true;
            let (from, to) = span(t);
            let beside = |at: f64, about: f64, done: f64| (about - at).max(at - done).max(0.0);
            let mut error = beside(from, truth.about[0], truth.from);
            if let (Some(a), Some(b)) = (to, truth.to) {
                error = error.max(beside(a, truth.about[1], b));
            }
            row.edge = row.edge.max(error);
            // Where a fault comes on top of another, it is being looked at closely already.
            let since = |all: &[(f64, f64)]| {
                let on = all.iter().find(|(_, to)| *to > truth.from);
                on.map_or(0.0, |(from, _)| (from - truth.from).max(0.0))
            };
            row.detection = row.detection.max(since(&doubted));
            row.called = row.called.max(since(&bad));
        }
    }
    for (i, t) in said.troubles().iter().enumerate() {
        let named = truths.iter().any(|truth| truth.right.contains(&word(t)));
        let confidence = t["confidence"].as_f64().unwrap_or(1.0);
        if claimed[i] && !named {
            row.complain(format!("beside it {} ({confidence:.2}) from {:.1} s", word(t), span(t).0));
        }
        // Whatever else was said: never surely wrong, and never the line for what was not the line.
        if !named && (confidence > Row::SURE || word(t) == "access-line") {
            row.complain(format!("GRAVE: {} ({confidence:.2}) was not there", word(t)));
        }
    }
    let unclaimed: Vec<String> = claimed
        .iter()
        .zip(said.troubles())
        .filter(|(c, _)| !**c)
        .map(|(_, t)| format!("invented: {} at {:.1} s", word(t), span(t).0))
        .collect();
    row.complaints.extend(unclaimed);
    row
}

fn word(t: &Value) -> &str {
    t["cause"].as_str().expect("cause")
}

/// The lab's cadences (`Place::site_file`) as the judge is told them; no requirement, for nothing is decided here.
fn settings() -> Settings {
    Settings {
        receivers: BTreeSet::from(["receiver".into()]),
        tls_receivers: BTreeSet::new(),
        patience: pathproof::site::cadence::PATIENCE,
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements: RequirementSet { name: "none".into(), words: String::new(), require: Vec::new() },
        out_of_scope: Vec::new(),
        known: Known::default(),
    }
}

/// From when to when, seconds.
type Stretches = Vec<(f64, f64)>;

/// From when to when the judge, fed the record entry by entry, was in doubt, and called something wrong: seconds since the
/// start.
fn noticed(said: &Said) -> (Stretches, Stretches) {
    let read = pathproof::record::read(&said.record).expect("opens");
    let mut judge = Judge::new(settings());
    let (mut doubted, mut bad, mut looked, mut first) = (Lasting::default(), Lasting::default(), Moment(0), None);
    read.replay(|e: &Entry| {
        let at = e.known();
        let since = (at - *first.get_or_insert(at)).secs();
        judge.take(e);
        let looks = (at - looked).0 >= 200_000;
        if looks {
            looked = at;
            bad.is(since, judge.anything_wrong());
        }
        doubted.is(since, judge.in_doubt() || bad.now);
    })
    .expect("reads");
    (doubted.spans, bad.spans)
}

/// From when to when something that is or is not was; without an end while it lasts.
#[derive(Default)]
struct Lasting {
    now: bool,
    spans: Stretches,
}

impl Lasting {
    fn is(&mut self, at: f64, now: bool) {
        if now && !self.now {
            self.spans.push((at, f64::INFINITY));
        } else if !now
            && self.now
            && let Some((_, to)) = self.spans.last_mut()
        {
            *to = at;
        }
        self.now = now;
    }
}

/// The rows as a table: what was true, what was said first, how often, and how sure.
pub(crate) fn confusion(rows: &[Row]) -> String {
    let mut counts = std::collections::BTreeMap::<(&str, &str), (u32, f64)>::new();
    for (truth, said, confidence) in rows.iter().flat_map(|r| &r.said) {
        let cell = counts.entry((truth, said)).or_default();
        *cell = (cell.0 + 1, cell.1.max(*confidence));
    }
    let mut out = String::from("| true cause | said first | times | most sure |\n|---|---|---|---|\n");
    for ((truth, said), (n, confidence)) in counts {
        let _ = writeln!(out, "| {truth} | {said} | {n} | {confidence:.2} |");
    }
    let (right, all) =
        rows.iter().flat_map(|r| &r.right).fold((0u32, 0u32), |(right, all), r| (right + u32::from(*r), all + 1));
    let worst = |of: fn(&Row) -> f64| rows.iter().map(of).fold(0.0, f64::max);
    let _ = writeln!(
        out,
        "\nright cause first: {right} of {all} ({:.1} %); largest edge error {:.2} s; noticed after {:.2} s and called bad after {:.2} s at most",
        100.0 * f64::from(right) / f64::from(all.max(1)),
        worst(|r| r.edge),
        worst(|r| r.detection),
        worst(|r| r.called)
    );
    let mut slowest: Vec<&Row> = rows.iter().collect();
    slowest.sort_by(|a, b| b.detection.total_cmp(&a.detection));
    let told: Vec<String> = slowest.iter().take(5).map(|r| format!("{} {:.2} s", r.name, r.detection)).collect();
    let _ = writeln!(out, "slowest to be noticed: {}", told.join(", "));
    slowest.sort_by(|a, b| b.called.total_cmp(&a.called));
    let told: Vec<String> = slowest.iter().take(5).map(|r| format!("{} {:.2} s", r.name, r.called)).collect();
    let _ = writeln!(out, "slowest to be called bad: {}", told.join(", "));
    slowest.sort_by(|a, b| b.edge.total_cmp(&a.edge));
    let told: Vec<String> = slowest.iter().take(5).map(|r| format!("{} {:.2} s", r.name, r.edge)).collect();
    let _ = writeln!(out, "edges farthest off: {}", told.join(", "));
    // Right as often as it says: the sum of the confidences against the number right.
    let sure: f64 = rows.iter().flat_map(|r| &r.said).map(|(_, _, confidence)| confidence).sum();
    let _ = writeln!(out, "confidences come to {sure:.1}, right were {right}");
    for r in rows.iter().filter(|r| !r.complaints.is_empty()) {
        let _ = writeln!(out, "{} (seed {}): {}", r.name, r.seed, r.complaints.join("; "));
    }
    out
}
