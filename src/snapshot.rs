//! The one read model. Terminal, page, report, JSON and metrics are pure renderers of it.
//!
//! Times are seconds on the record's axis (`*_s`, from the start of the record) so that nothing here depends on a
//! clock; [`Snapshot::wall`] turns them into wall time. `format` is raised when a field changes meaning.

mod asked;
mod build;
mod decision;
mod drills;
mod figures;
mod header;
mod known;
mod lanes;
mod odds;
mod outages;
mod reasons;
mod sharpness;
mod targets;
mod unseen;
mod whole;
mod words;

pub use crate::judge::{LaneState, Standing, VerdictKind};
pub use build::{take, take_live};
pub use drills::view as drill_view;
pub use header::Header;
pub use odds::{odds, too_little};
pub use outages::{Bout, Window, down_s, union};

use crate::judge::choice::{Basis, Choice};
use crate::judge::{Actor, Cause, Clue, Lane, WallTime};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Version of this model, the `format` field of the JSON.
pub const FORMAT: u32 = 1;

/// Everything there is to show about one record at one moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
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
    /// Which short outages the way of asking could see; `None` in the live view.
    #[serde(default)]
    pub detection: Option<DetectionView>,
    /// How long outages lasted; `None` without one, and in the live view.
    #[serde(default)]
    pub lengths: Option<LengthsView>,
    /// What was done on purpose and left out of every statistic, and what it measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub drills: Vec<DrillView>,
    /// How the agent and its record fare; `None` where no agent runs.
    #[serde(default)]
    pub agent: Option<AgentView>,
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

/// One drill.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DrillView {
    /// Its word: `mains-off`, `router-restart`, `cable-pull`, `receiver-path`.
    pub drill: String,
    /// When it began.
    pub began: WallTime,
    /// The same on the record's axis.
    pub from_s: f64,
    /// When it ended, or the record's end.
    pub to_s: f64,
    /// Why it measured less than it is for; `None`: it did not.
    pub cut_short: Option<String>,
    /// How long the nearest network gear lasted, seconds: at least, middle, at most; the last two are `None` where it
    /// still worked when last looked at.
    pub gear_lasted_s: Option<[Option<f64>; 3]>,
    /// How long the path lasted, in the same way.
    pub path_lasted_s: Option<[Option<f64>; 3]>,
    /// From the lead's pulling until it was seen, seconds: at least, middle, at most.
    pub seen_s: Option<[f64; 3]>,
    /// From the giving back until the path carried again, in the same way.
    pub back_s: Option<[f64; 3]>,
    /// How long this host was itself away in it, seconds.
    pub away_s: f64,
    /// What it measured, one sentence each.
    pub says: Vec<String>,
}

/// Which short outages the way of asking can see.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DetectionView {
    /// Seconds between two questions to one target of the lane the path is judged by.
    pub every_s: f64,
    /// Its targets.
    pub targets: usize,
    /// Failures in a row that make an outage.
    pub run: u32,
    /// Length in seconds, and share of outages of that length that would be noticed.
    pub noticed: Vec<[f64; 2]>,
}

/// How long outages lasted.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LengthsView {
    /// Outages seen.
    pub seen: usize,
    /// Of these, those that ended.
    pub ended: usize,
    /// The length half of them do not exceed, seconds.
    pub median_s: Option<f64>,
    /// Its bounds, 19 in 20 sure.
    pub bounds_s: [Option<f64>; 2],
    /// Share lasting over an hour by a fitted shape, where there were enough outages to fit one.
    pub over_an_hour: Option<f64>,
    /// Which shape: lognormal or Weibull.
    pub shape: Option<String>,
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

/// What one target lost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LossView {
    /// Share of questions unanswered.
    pub share: f64,
    /// Where the long-run share lies, 19 in 20 sure; losses in a row count for less.
    pub bounds: [f64; 2],
    /// Independent questions that would tell as much.
    pub effective: f64,
    /// Bursts of loss (RFC 3611).
    pub bursts: u64,
    /// Share lost inside bursts, and outside.
    pub density: [Option<f64>; 2],
}

/// Would an alarm raised at a random moment have got through, over every outage seen.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
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
    /// The same for other times: the time in seconds, the share not delivered at best, and at worst.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub by_time: Vec<[f64; 3]>,
}

/// All outages against one supervision interval.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HoursView {
    /// One in twenty that it is less.
    pub low: f64,
    /// As likely more as less.
    pub middle: f64,
    /// One in twenty that it is more.
    pub high: f64,
}

/// Unmonitored hours a year to expect.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
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
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Believed {
    /// What.
    pub what: String,
    /// Where it comes from.
    pub source: String,
    /// How well that was checked: V, S, M, choice, site file or not known.
    pub tag: String,
}

/// What was believed before watching and how far it moved the answer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PriorView {
    /// Number by number.
    pub lines: Vec<Believed>,
    /// Probability that the availability asked for holds, on the evidence alone.
    pub alone: Option<f64>,
    /// Probability that all that is required holds in the long run, with what was believed.
    pub with: Option<f64>,
    /// The verdict on the evidence alone.
    #[serde(default)]
    pub verdict_alone: VerdictKind,
    /// The verdict it would be with what was believed.
    pub verdict_with: VerdictKind,
    /// How far it moved the answer, in words.
    pub sentence: String,
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

/// The verdict and what it rests on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verdict {
    /// Which of the four.
    pub kind: VerdictKind,
    /// One plain sentence.
    pub sentence: String,
    /// How sure, 0 to 1; `None` where no honest number can be given.
    pub confidence: Option<f64>,
    /// Signalling of this site that nothing here may be decided for (fire, medical), which leaves the verdict open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub out_of_scope: Vec<String>,
    /// What carries "IP alone" and "add a cellular backup": what was watched alone, or the odds; `None` for the others.
    #[serde(default)]
    pub basis: Option<Basis>,
    /// What to do today; `None` where nothing could be asked or nothing may be judged.
    #[serde(default)]
    pub choice: Option<Choice>,
    /// Probability that the line misses what is required in the long run, 0 to 1; `None` where there are no odds.
    #[serde(default)]
    pub misses: Option<f64>,
    /// Whether knowing what kind of line it is may turn that choice to IP alone.
    #[serde(default)]
    pub ask_kind_of_line: bool,
    /// The choice for today in four lines: the choice and its odds, hours and money, a cut line and mains, what turns it.
    #[serde(default)]
    pub today: Vec<String>,
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
    /// What could make it another verdict, the shortest further observation first.
    #[serde(default)]
    pub could_change: Vec<String>,
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
    /// Whether the station would have known, where the supervision interval is known.
    pub station_would_know: Option<bool>,
}

/// One requirement and how it stands.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
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

    /// Wall time of a second on the axis; saturates where the sum leaves the range.
    pub fn wall(&self, at_s: f64) -> WallTime {
        WallTime(self.watch.began.0.saturating_add((at_s * 1e6) as i64))
    }
}
