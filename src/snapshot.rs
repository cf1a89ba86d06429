//! The one read model. Terminal, page, report, JSON and metrics are pure renderers of it.
//!
//! Times are seconds on the record's axis (`*_s`, from the start of the record) so that nothing here depends on a
//! clock; [`Snapshot::wall`] turns them into wall time. `format` is raised when a field changes meaning.

mod asked;
mod build;
mod figures;
mod words;

pub use crate::judge::{LaneState, Standing, VerdictKind};
pub use build::{Header, take, take_live};

use crate::judge::{Lane, WallTime};
use serde::{Deserialize, Serialize};

/// Version of this model, the `format` field of the JSON.
pub const FORMAT: u32 = 1;

/// Everything there is to show about one record at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// [`FORMAT`].
    pub format: u32,
    /// Version of the program.
    pub version: String,
    /// Opaque site id.
    pub site: String,
    /// True where this is the practice site.
    pub practice: bool,
    /// How long was looked and how much of that was seen.
    pub watch: Watch,
    /// The verdict and what it rests on.
    pub verdict: Verdict,
    /// What to mend, most useful first.
    pub mend: Vec<Mend>,
    /// One entry a lane, inside out.
    pub lanes: Vec<LaneView>,
    /// What happened, in order of time.
    pub troubles: Vec<Trouble>,
    /// Requirement by requirement.
    pub requirements: Vec<Requirement>,
    /// Per target: how often asked and what came back.
    pub targets: Vec<TargetView>,
    /// Facts of the site found on the way (gateway, lease, servers), label and value.
    pub facts: Vec<Fact>,
    /// What could not be seen, why, and what would open it.
    pub blind: Vec<Blind>,
    /// Always shown.
    pub cautions: Vec<String>,
    /// Would an alarm have got through; `None` if nothing was seen.
    #[serde(default)]
    pub delivery: Option<DeliveryView>,
    /// Would the station have known: the site's interval first, then the common ones.
    #[serde(default)]
    pub supervision: Vec<SupervisionView>,
    /// A year to expect; `None` while nothing was watched, and in the live view.
    #[serde(default)]
    pub outlook: Option<OutlookView>,
    /// Lanes that went and came back.
    #[serde(default)]
    pub flaps: Vec<FlapView>,
    /// What was believed before watching; `None` in the live view.
    #[serde(default)]
    pub prior: Option<PriorView>,
}

/// Would an alarm raised at a random moment have got through, over every outage seen.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DeliveryView {
    /// The time it is about, seconds.
    pub within_s: f64,
    /// When the communicator tries within it, seconds after the alarm.
    pub retries_s: Vec<f64>,
    /// Where the schedule comes from.
    pub schedule: String,
    /// Share not delivered: at best and at worst, by what edges and unseen time leave open.
    pub missed: [f64; 2],
    /// Mean wait of those delivered, seconds, at worst.
    pub mean_s: Option<f64>,
    /// Wait that 95 of 100 of them do not exceed.
    pub q95_s: Option<f64>,
    /// Longest wait of them.
    pub longest_s: Option<f64>,
    /// The same in one sentence.
    pub sentence: String,
}

/// All outages against one supervision interval.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SupervisionView {
    /// The interval, seconds.
    pub interval_s: f64,
    /// Where it is used.
    pub used: String,
    /// How well that was checked: V, S, M, choice, or site file.
    pub tag: String,
    /// Outages the station would have known of.
    pub known: usize,
    /// Outages it would never have seen.
    pub unseen: usize,
    /// Outages that can't be told.
    pub open: usize,
    /// The longest it would have been unaware, seconds.
    pub longest_unaware_s: f64,
    /// Outage by outage, in order of time; `None` where its edges leave it open.
    pub outages: Vec<Option<bool>>,
}

/// Hours a year.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct HoursView {
    /// One in twenty that it is less.
    pub low: f64,
    /// As likely more as less.
    pub middle: f64,
    /// One in twenty that it is more.
    pub high: f64,
}

/// Unmonitored hours a year to expect.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct OutlookView {
    /// IP alone, network part only.
    pub network: HoursView,
    /// IP alone, with the mains part where one was entered.
    pub ip_alone: HoursView,
    /// With a cellular second path.
    pub with_cellular: HoursView,
    /// The same in words.
    pub sentence: String,
    /// What was taken as given.
    pub inputs: Vec<Believed>,
}

/// Something taken as given, with its source.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Believed {
    /// What.
    pub what: String,
    /// Where it comes from.
    pub source: String,
    /// How well that was checked: V, S, M, choice, site file or not known.
    pub tag: String,
}

/// What was believed before watching and how far it moved the answer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PriorView {
    /// Number by number.
    pub lines: Vec<Believed>,
    /// Probability that the availability asked for holds, on the evidence alone.
    pub alone: Option<f64>,
    /// The same with what was believed.
    pub with: Option<f64>,
    /// The verdict it would be with what was believed.
    pub verdict_with: VerdictKind,
    /// How far it moved the answer, in words.
    pub sentence: String,
}

/// Flaps of one lane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FlapView {
    /// Which.
    pub lane: Lane,
    /// How many.
    pub count: u64,
    /// A day: lower bound, rate, upper bound (95 % Poisson).
    pub per_day: [f64; 3],
    /// Penalty now (RFC 2439).
    pub penalty: f64,
    /// The highest it was.
    pub peak: f64,
    /// Whether the lane counts as flapping now.
    pub flapping: bool,
    /// The same in words.
    pub sentence: String,
}

/// How long was looked and how much of that was seen.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Watch {
    /// Wall time at second 0 of the axis, microseconds since the Unix epoch.
    pub began: WallTime,
    /// Whether the wall clock was synchronised; `None` is unknown.
    pub clock_synced: Option<bool>,
    /// Seconds from start to the last entry.
    pub elapsed_s: f64,
    /// Seconds in which the path was observed.
    pub observed_s: f64,
    /// `observed_s / elapsed_s`.
    pub coverage: f64,
    /// How the last session ended; `None` while it runs or when it was cut off.
    pub ended: Option<String>,
    /// Seconds asked for, where a length was asked for.
    pub planned_s: Option<f64>,
}

/// The verdict and what it rests on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// Which of the four.
    pub kind: VerdictKind,
    /// One plain sentence.
    pub sentence: String,
    /// How sure, 0 to 1; `None` where no honest number can be given.
    pub confidence: Option<f64>,
    /// The reasons that led to it, strongest first.
    pub reasons: Vec<String>,
    /// Observed time still needed before the evidence could suffice, seconds; `None` when it suffices or cannot be said.
    pub needs_s: Option<f64>,
    /// The safer choice if one must decide today.
    pub safer_today: String,
    /// What that choice rests on.
    pub safer_because: String,
    /// What it costs to be wrong, each way.
    #[serde(default)]
    pub if_wrong: Vec<String>,
}

/// Something that can be mended.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Mend {
    /// What is wrong, in plain words.
    pub what: String,
    /// Who acts: customer, installer, provider, station, nobody.
    pub who: String,
    /// The next step.
    pub step: String,
    /// How to prove it mended.
    pub proof: String,
}

/// One stretch of a lane.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Stretch {
    /// From, seconds.
    pub from_s: f64,
    /// To, seconds.
    pub to_s: f64,
    /// State in between.
    pub state: LaneState,
}

/// One lane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LaneView {
    /// Which.
    pub lane: Lane,
    /// State now.
    pub state: LaneState,
    /// What was last seen, in a few words ("answers in 1.2 ms", "carrier, 1000 Mbit/s, full duplex").
    pub last: String,
    /// Seconds on the axis of the last observation; `None` if there was none.
    pub last_s: Option<f64>,
    /// The lane over time, without gaps from 0 to `watch.elapsed_s`.
    pub stretches: Vec<Stretch>,
}

/// What happened: a span in which a lane was bad or strained, with its cause.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Trouble {
    /// Number in this record, from 1, in order of time.
    pub number: u32,
    /// Lane it began in.
    pub lane: Lane,
    /// Cause as a stable word (`access-line`, `router-restart`, ...).
    pub cause: String,
    /// One plain sentence.
    pub sentence: String,
    /// Start: earliest, middle, latest, seconds.
    pub start_s: [f64; 3],
    /// End likewise; `None` while it lasts.
    pub end_s: Option<[f64; 3]>,
    /// Whether the path could not deliver: an outage.
    pub outage: bool,
    /// Confidence in the cause, 0 to 1.
    pub confidence: f64,
    /// Observations for the cause.
    pub evidence_for: Vec<String>,
    /// Observations against it.
    pub evidence_against: Vec<String>,
    /// Other causes not excluded.
    pub not_excluded: Vec<String>,
    /// Who acts: customer, installer, provider, station, nobody.
    pub who: String,
    /// Whether the station would have known, where the supervision interval is known.
    pub station_would_know: Option<bool>,
}

/// One requirement and how it stands.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Requirement {
    /// Name in the requirement set.
    pub name: String,
    /// What is required, with its number.
    pub asks: String,
    /// What was measured, with its bounds.
    pub measured: String,
    /// Where the number comes from, and how well that was checked (V, S, M, choice).
    pub source: String,
    /// How it stands.
    pub standing: Standing,
    /// Observed time still needed, seconds, where it is open and that can be said.
    pub needs_s: Option<f64>,
    /// Probability that it holds, 0 to 1, where that is a matter of probability.
    #[serde(default)]
    pub holds: Option<f64>,
    /// The shortest watch that could show it, seconds; `None` if no watch can.
    #[serde(default)]
    pub least_s: Option<f64>,
}

/// One target's counts and times.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TargetView {
    /// Lane.
    pub lane: Lane,
    /// The question, in words.
    pub question: String,
    /// Target.
    pub target: String,
    /// Times asked (blind ones left out).
    pub asked: u64,
    /// Times answered.
    pub answered: u64,
    /// Counts of every other outcome, in words.
    pub otherwise: Vec<(String, u64)>,
    /// Round-trip milliseconds: least, median, 95th percentile, most.
    pub rtt_ms: Option<[f64; 4]>,
}

/// A fact of the site.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// Its value; untrusted text, escape it.
    pub value: String,
}

/// What could not be seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Blind {
    /// Lane.
    pub lane: Lane,
    /// What was not seen.
    pub what: String,
    /// Why.
    pub why: String,
    /// What would open it.
    pub opens: String,
    /// For how many seconds.
    pub for_s: f64,
}

impl Snapshot {
    /// Wall time of a second on the axis; saturates where the sum leaves the range.
    pub fn wall(&self, at_s: f64) -> WallTime {
        WallTime(self.watch.began.0.saturating_add((at_s * 1e6) as i64))
    }
}
