//! The one read model. Terminal, page, report, JSON and metrics are pure renderers of it.
//!
//! Times are seconds on the record's axis (`*_s`, from the start of the record) so that nothing here depends on a
//! clock; [`Snapshot::wall`] turns them into wall time. `format` is raised when a field changes meaning.

mod asked;
mod build;
mod decision;
mod drills;
mod figures;
mod flat;
mod header;
mod known;
mod lanes;
mod odds;
mod outages;
mod reasons;
mod ruling;
mod sharpness;
mod targets;
mod unseen;
mod words;

pub use crate::judge::{LaneState, Standing, VerdictKind};
pub use build::{rule, take, take_live};
pub use drills::view as drill_view;
pub use header::Header;
pub use odds::{odds, too_little};
pub use outages::{Bout, Window, down_s, union};
pub use ruling::{
    Believed, DeliveryView, DetectionView, DrillView, HoursView, LengthsView, LossView, OutlookView, PriorView,
    Requirement, Ruling, Verdict,
};

use crate::judge::{Actor, Cause, Clue, Lane, WallTime};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Version of this model, the `format` field of the JSON.
pub const FORMAT: u32 = 1;

/// Everything there is to show about one record at one moment.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, JsonSchema)]
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
    /// What to mend, most useful first.
    pub mend: Vec<Mend>,
    /// One entry a lane, inside out.
    pub lanes: Vec<LaneView>,
    /// What happened, in order of time.
    pub troubles: Vec<Trouble>,
    /// Per target: how often asked and what came back.
    pub targets: Vec<TargetView>,
    /// Facts of the site found on the way (gateway, lease, servers), label and value.
    pub facts: Vec<Fact>,
    /// What could not be seen, why, and what would open it.
    pub blind: Vec<Blind>,
    /// Always shown.
    pub cautions: Vec<String>,
    /// Would the station have known: the site's interval first, then the common ones.
    #[serde(default)]
    pub supervision: Vec<SupervisionView>,
    /// Lanes that went and came back.
    #[serde(default)]
    pub flaps: Vec<FlapView>,
    /// How the agent and its record fare; `None` where no agent runs.
    #[serde(default)]
    pub agent: Option<AgentView>,
    /// What the troubles alone say of now, nothing held against what is required; empty where there is a ruling.
    #[serde(skip)]
    pub so_far: Verdict,
    /// What only a whole look finds; `None` before the first.
    #[serde(flatten, deserialize_with = "flat::ruling")]
    #[schemars(with = "Ruling")]
    pub ruling: Option<Ruling>,
}

/// How an agent that runs fares.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AgentView {
    /// Why the record is not written, where it is not.
    pub record_waits: Option<String>,
    /// Entries that wait in memory to be written.
    pub waiting: u64,
    /// Entries given up.
    pub lost: u64,
    /// Bytes of the record.
    pub record_bytes: u64,
    /// Probes that had to be started again.
    pub restarts: u64,
    /// Sleeps of the machine.
    pub sleeps: u64,
    /// Steps of its wall clock.
    pub steps: u64,
    /// How the agent before this one stopped, in words.
    pub last_stop: Option<String>,
}

impl AgentView {
    /// What everybody who looks must know, in words; `None` where all is well.
    pub fn warning(&self) -> Option<String> {
        let waits = self.record_waits.as_ref().map(|why| {
            format!(
                "The record is not written ({why}): {} entries wait in memory, {} were given up.",
                self.waiting, self.lost
            )
        });
        waits.or_else(|| (self.lost > 0).then(|| format!("{} entries could not be kept in the record.", self.lost)))
    }
}

/// How one target fared over the record, in steps of even length from its start. Each list has one entry a step.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CourseView {
    /// Length of a step, seconds.
    pub step_s: f64,
    /// Questions put in it.
    pub asked: Vec<u32>,
    /// Of these, answered.
    pub answered: Vec<u32>,
    /// Mean round trip, milliseconds; `None` where nothing was timed.
    pub mean_ms: Vec<Option<f64>>,
    /// Longest round trip, milliseconds.
    pub most_ms: Vec<Option<f64>>,
}

/// All outages against one supervision interval.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SupervisionView {
    /// The interval, seconds.
    pub interval_s: f64,
    /// How often the communicator checks in, seconds; `None` where that is not part of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check_in_s: Option<f64>,
    /// Where it is used.
    pub used: String,
    /// How well that was checked: V, S, M, choice, or site file.
    pub tag: String,
    /// Outages the station would have known of.
    pub known: usize,
    /// Outages not longer than the interval, which it may or may not have noticed.
    #[serde(alias = "unseen")]
    pub shorter: usize,
    /// Outages that can't be told.
    pub open: usize,
    /// The longest it would have been unaware, seconds.
    pub longest_unaware_s: f64,
    /// Outage by outage, in order of time, whether it was longer; `None` where its edges leave it open.
    pub outages: Vec<Option<bool>>,
}

/// Flaps of one lane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
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

/// Something that can be mended.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mend {
    /// The cause of the troubles it mends; `None`: none was seen, it is known of the site.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<Cause>,
    /// What is wrong, in plain words.
    pub what: String,
    /// Who acts.
    pub who: Actor,
    /// The next step.
    pub step: String,
    /// How to prove it mended.
    pub proof: String,
}

/// One stretch of a lane.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Stretch {
    /// From, seconds.
    pub from_s: f64,
    /// To, seconds.
    pub to_s: f64,
    /// State in between.
    pub state: LaneState,
}

/// One lane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Trouble {
    /// Number in this record, from 1, in order of time.
    pub number: u32,
    /// Lane it began in.
    pub lane: Lane,
    /// Why, as the judge holds likeliest.
    pub cause: Cause,
    /// One plain sentence.
    pub sentence: String,
    /// Start: earliest, middle, latest, seconds.
    pub start_s: [f64; 3],
    /// End likewise; `None` while it lasts.
    pub end_s: Option<[f64; 3]>,
    /// Whether the path could not deliver: an outage.
    pub outage: bool,
    /// Since when it could not: earliest, middle, latest, seconds; `None` where it could.
    #[serde(default)]
    pub down_from_s: Option<[f64; 3]>,
    /// Until when likewise; `None` where it could, and while it still can't.
    #[serde(default)]
    pub down_to_s: Option<[f64; 3]>,
    /// Whether nobody watched meanwhile: the agent was cut off.
    #[serde(default)]
    pub unwatched: bool,
    /// Confidence in the cause, 0 to 1.
    pub confidence: f64,
    /// What was observed that speaks for the cause, then what speaks against it; of each the strongest first.
    #[serde(default)]
    pub evidence: Vec<Clue>,
    /// The same for the cause in words, with what failed.
    pub evidence_for: Vec<String>,
    /// The same against it in words.
    pub evidence_against: Vec<String>,
    /// Other causes not excluded.
    pub not_excluded: Vec<Cause>,
    /// The same with their odds, likeliest first; what is left to 1 is "something else".
    #[serde(default)]
    pub alternatives: Vec<(Cause, f64)>,
    /// What was seen and what it points to, for a technician.
    #[serde(default)]
    pub technician: String,
    /// The next step.
    #[serde(default)]
    pub step: String,
    /// How to prove it mended.
    #[serde(default)]
    pub proof: String,
    /// Who acts.
    pub who: Actor,
    /// Whether it was longer than the station's interval, where that is known; a shorter one may have been noticed too.
    pub station_would_know: Option<bool>,
}

/// One target's counts and times.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
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
    /// Answers and times over the record; `None` where nothing is timed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub course: Option<CourseView>,
    /// What it lost; `None` where that is not counted by target, and in the live view.
    #[serde(default)]
    pub loss: Option<LossView>,
    /// How much the round trip changes from answer to answer, milliseconds, smoothed (RFC 3550).
    #[serde(default)]
    pub jitter_ms: Option<f64>,
}

/// A fact of the site.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// Its value; untrusted text, escape it.
    pub value: String,
}

/// What could not be seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
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
    /// The same with how the agent fares; what everybody must know of that stands first among the cautions.
    #[must_use]
    pub fn with_agent(mut self, agent: Option<AgentView>) -> Self {
        if let Some(warning) = agent.as_ref().and_then(AgentView::warning) {
            self.cautions.insert(0, warning);
        }
        self.agent = agent;
        self
    }

    /// The verdict in force: of the ruling, or what can be said before the first.
    pub fn verdict(&self) -> &Verdict {
        self.ruling.as_ref().map_or(&self.so_far, |r| &r.verdict)
    }

    /// The same with the last ruling, which may be older than the look.
    #[must_use]
    pub fn with_ruling(mut self, ruling: Ruling) -> Self {
        for t in &mut self.targets {
            t.loss = ruling.losses.iter().find(|l| l.question == t.question && l.target == t.target).map(|l| l.loss);
        }
        self.ruling = Some(ruling);
        self
    }

    /// Wall time of a second on the axis; saturates where the sum leaves the range.
    pub fn wall(&self, at_s: f64) -> WallTime {
        WallTime(self.watch.began.0.saturating_add((at_s * 1e6) as i64))
    }
}
