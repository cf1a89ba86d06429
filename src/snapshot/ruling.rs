//! What only a whole look finds: the verdict, requirement by requirement, the choice and the odds, the year to expect.
//!
//! A watch looks each second and rules far more seldom, as holding everything against what is required costs more.

use crate::judge::choice::{Basis, Choice};
use crate::judge::{Standing, VerdictKind, WallTime};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a whole look found.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, JsonSchema)]
pub struct Ruling {
    /// When it was reached, seconds on the record's axis.
    #[serde(skip)]
    pub reached_s: f64,
    /// What each target lost, where that is counted by target.
    #[serde(skip)]
    pub losses: Vec<Lost>,
    /// The verdict and what it rests on.
    pub verdict: Verdict,
    /// Requirement by requirement.
    pub requirements: Vec<Requirement>,
    /// Would an alarm have got through; `None` if nothing was seen.
    #[serde(default)]
    pub delivery: Option<DeliveryView>,
    /// A year to expect; `None` while nothing was watched.
    #[serde(default)]
    pub outlook: Option<OutlookView>,
    /// What was believed before watching.
    #[serde(default)]
    pub prior: Option<PriorView>,
    /// Which short outages the way of asking could see.
    #[serde(default)]
    pub detection: Option<DetectionView>,
    /// How long outages lasted; `None` without one.
    #[serde(default)]
    pub lengths: Option<LengthsView>,
    /// What was done on purpose and left out of every statistic, and what it measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub drills: Vec<DrillView>,
}

/// What one target lost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LossView {
    /// Share of time unanswered.
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

/// The same with the target it is about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lost {
    /// The question, in words.
    pub question: String,
    /// Target.
    pub target: String,
    /// How much.
    pub loss: LossView,
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
