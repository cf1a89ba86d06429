//! What a survey made of a trial: truth beside what was said, the edges in seconds, and whether this host was fit to tell.

use crate::lateness::{self, Held};
use crate::place::Said;
use crate::trial::{Edges, Trial, Truth};
use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::{Entry, Judge, Known, Lane, Micros, Moment, Settings};
use pathproof::site::cadence::PATIENCE;
use serde_json::Value;
use std::collections::BTreeSet;
use std::time::Duration;

/// A wrong cause said with more than this confidence is a grave error.
const SURE: f64 = 0.9;
/// Edges lie within this of the truth, seconds.
const EDGE: f64 = 1.0;
/// A fault is to be noticed within this, seconds.
pub(crate) const DETECTION: f64 = 3.0;
/// ... and called bad within this. What is asked of one target only, once a second, takes a turn (1 s), three questions
/// (2 s), the patience (1.8 s) and a little; anything else is faster.
const CALLED: f64 = 5.0;

/// One measure in seconds and what it is held to.
#[derive(Clone, Debug)]
pub(crate) struct Measure {
    pub(crate) what: &'static str,
    pub(crate) off: f64,
    pub(crate) limit: f64,
    /// How late this host was about then.
    pub(crate) late: f64,
}

impl Measure {
    pub(crate) fn held(&self) -> Held {
        let of = |s: f64| Duration::from_secs_f64(s.max(0.0));
        lateness::judge(of(self.off), of(self.limit), of(self.late))
    }
}

/// What was said of one truth.
#[derive(Clone, Debug)]
pub(crate) struct Judged {
    pub(crate) truth: Truth,
    /// The cause said first, and how sure.
    pub(crate) said: String,
    pub(crate) confidence: f64,
    /// It is the one cause that is right, and the one who has to mend it stands where the fault is.
    pub(crate) strict: bool,
    /// It is that or what looks like it.
    pub(crate) lenient: bool,
    /// Of what looks the same: said, or named beside as not excluded.
    pub(crate) named: usize,
    pub(crate) measures: Vec<Measure>,
}

/// What one trial at one time came to.
#[derive(Debug, Default)]
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) seed: u64,
    pub(crate) judged: Vec<Judged>,
    /// The latest that this host was in any two seconds of the survey.
    pub(crate) late: f64,
    pub(crate) played: bool,
    pub(crate) complaints: Vec<String>,
}

impl Row {
    /// A trial that ended in a panic.
    pub(crate) fn not_played(name: &'static str, seed: u64) -> Self {
        let complaints = vec!["GRAVE: it could not be played; what it said is above".into()];
        Self { name, seed, complaints, ..Self::default() }
    }

    fn complain(&mut self, words: String) {
        self.complaints.push(words);
    }

    pub(crate) fn measures(&self) -> impl Iterator<Item = &Measure> {
        self.judged.iter().flat_map(|j| &j.measures)
    }

    /// The worst of one kind of measure, seconds.
    pub(crate) fn worst(&self, what: &[&str]) -> f64 {
        self.measures().filter(|m| what.contains(&m.what)).map(|m| m.off).fold(0.0, f64::max)
    }

    /// Nothing to complain of, and every bound kept.
    pub(crate) fn is_sound(&self) -> bool {
        self.complaints.is_empty() && self.measures().all(|m| matches!(m.held(), Held::Kept | Held::Widened))
    }

    /// Whether a complaint is one that fails the lot. A wrong name that is no surer than it should be counts among the others.
    pub(crate) fn is_grave(&self) -> bool {
        let grave = ["GRAVE", "invented", "looks the same", "not noticed"];
        self.complaints.iter().any(|c| grave.iter().any(|w| c.contains(w)))
    }

    /// Whether it failed on a host that was too late to tell: later than any bound is widened by, or so late that half of the
    /// agent's patience was gone, which looks like a fault of the site.
    pub(crate) fn is_inconclusive(&self) -> bool {
        let unfit = self.late > PATIENCE.secs() / 2.0 || self.measures().any(|m| m.held() == Held::Inconclusive);
        let missed = self.measures().any(|m| matches!(m.held(), Held::Missed | Held::Inconclusive));
        unfit && (missed || self.is_grave())
    }
}

type Span = (f64, Option<f64>);

fn span(t: &Value) -> Span {
    (t["start_s"][1].as_f64().expect("start"), t["end_s"][1].as_f64())
}

fn word(t: &Value) -> &str {
    t["cause"].as_str().expect("cause")
}

/// Seconds two spans share; open ends reach `end`.
fn shared(a: Span, b: Span, end: f64) -> f64 {
    a.1.unwrap_or(end).min(b.1.unwrap_or(end)) - a.0.max(b.0)
}

/// Sets the truth beside what was said.
pub(crate) fn compare(trial: &Trial, seed: u64, truths: Vec<Truth>, said: &Said) -> Row {
    let mut row = Row { name: trial.name, seed, played: true, ..Row::default() };
    row.late = (0..trial.seconds).map(|s| said.late(f64::from(s), f64::from(s) + 2.0)).fold(0.0, f64::max);
    let end = f64::from(trial.seconds);
    let (doubted, bad) = noticed(said);
    let mut claimed = vec![false; said.troubles().len()];
    let truths: Vec<Truth> = truths.into_iter().map(|t| t.by(|s| said.own(s))).collect();
    let accepted: BTreeSet<&str> = truths.iter().flat_map(Truth::accepted).collect();
    for truth in truths {
        let about = (truth.from - 1.0, truth.to.map(|t| t + 1.0));
        // Time shared, as a part of the time either takes.
        let of = |t: &Value| {
            let whole = |s: Span| s.1.unwrap_or(end) - s.0;
            let both = shared(about, span(t), end);
            both / (whole(about) + whole(span(t)) - both).max(0.1)
        };
        let mut near: Vec<usize> = (0..claimed.len()).filter(|i| of(&said.troubles()[*i]) > 0.0).collect();
        for i in &near {
            claimed[*i] = true;
        }
        let right = |i: &usize| truth.accepted().any(|cause| cause == word(&said.troubles()[*i]));
        // The trouble that fits its time best speaks for it.
        near.sort_by(|a, b| of(&said.troubles()[*b]).total_cmp(&of(&said.troubles()[*a])));
        let hidden = matches!(truth.edges, Edges::Hidden(_));
        let best = if hidden { near.iter().find(|i| right(i)).or(near.first()) } else { near.first() };
        let Some(best) = best else {
            row.complain(format!("{} from {:.1} s was not noticed", truth.cause, truth.from));
            row.judged.push(Judged {
                truth,
                said: "nothing".into(),
                confidence: 0.0,
                strict: false,
                lenient: false,
                named: 0,
                measures: Vec::new(),
            });
            continue;
        };
        let t = &said.troubles()[*best];
        let confidence = t["confidence"].as_f64().unwrap_or(1.0);
        let lenient = right(best);
        let strict = word(t) == truth.cause && truth.side.has(t["who"].as_str().unwrap_or_default());
        if !lenient {
            row.complain(format!("{} was called {} ({confidence:.2})", truth.cause, word(t)));
        } else if word(t) == truth.cause && !strict {
            row.complain(format!("SIDE: {} is for {} to mend, made at {:?}", truth.cause, t["who"], truth.side));
        }
        let others = t["not_excluded"].as_array().map_or(&[][..], Vec::as_slice);
        let unnamed: Vec<&str> =
            truth.accepted().filter(|cause| word(t) != *cause && !others.iter().any(|o| o == cause)).collect();
        if !truth.alike.is_empty() {
            for missing in &unnamed {
                row.complain(format!("{missing} looks the same and is not named beside {}", word(t)));
            }
        }
        let named = truth.alike.len() + 1 - unnamed.len();
        let mut measures = Vec::new();
        if truth.edges == Edges::Held && lenient {
            measures = edges(&truth, span(t), said);
            // Only the path is watched by the second; other conditions are known when the turns that ask for them have told.
            if t["outage"] == true {
                measures.extend(noticing(&truth, said, &doubted, &bad));
            }
        }
        row.judged.push(Judged { said: word(t).to_owned(), confidence, strict, lenient, named, measures, truth });
    }
    for (i, t) in said.troubles().iter().enumerate() {
        let named = accepted.contains(word(t));
        let confidence = t["confidence"].as_f64().unwrap_or(1.0);
        if claimed[i] && !named {
            row.complain(format!("beside it {} ({confidence:.2}) from {:.1} s", word(t), span(t).0));
        }
        // Whatever else was said: never surely wrong, and never the line for what was not the line.
        if !named && (confidence > SURE || word(t) == "access-line") {
            row.complain(format!("GRAVE: {} ({confidence:.2}) was not there", word(t)));
        }
        if !claimed[i] {
            row.complain(format!("invented: {} at {:.1} s", word(t), span(t).0));
        }
    }
    row
}

/// How far its edges were off.
fn edges(truth: &Truth, seen: Span, said: &Said) -> Vec<Measure> {
    let beside = |at: f64, about: f64, done: f64| (about - at).max(at - done).max(0.0);
    // An edge is seen by the questions within a patience before and after it.
    let patience = PATIENCE.secs();
    let late = |at: f64| said.late(at - patience, at + patience);
    let edge = |what, off, at| Measure { what, off, limit: EDGE, late: late(at) };
    let mut out = vec![edge("start", beside(seen.0, truth.about[0], truth.from), truth.from)];
    if let (Some(a), Some(b)) = (seen.1, truth.to) {
        out.push(edge("end", beside(a, truth.about[1], b), b));
    }
    out
}

/// How soon it was noticed and called bad.
fn noticing(truth: &Truth, said: &Said, doubted: &Stretches, bad: &Stretches) -> Vec<Measure> {
    let mut out = Vec::new();
    // Where a fault comes on top of another, it is being looked at closely already.
    let since = |all: &Stretches| {
        let on = all.iter().find(|(_, to)| *to > truth.from);
        on.map_or(0.0, |(from, _)| (from - truth.from).max(0.0))
    };
    for (what, off, limit) in [("noticed", since(doubted), DETECTION), ("called", since(bad), CALLED)] {
        out.push(Measure { what, off, limit, late: said.late(truth.from - 1.0, truth.from + off) });
    }
    out
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
