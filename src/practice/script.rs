//! The fault script: what goes wrong on the practice site, when, and for how long.
//!
//! Decides the file format (`--script FILE`, TOML), what a script may not say, and the script a seed stands for. Does not
//! play it. Pure: the seed is the only source of chance, and the generator is one whose numbers are fixed for good
//! (xoshiro256++), so that a seed means the same script on every build.

use crate::judge::Cause;
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use serde::{Deserialize, Serialize};
use std::fmt;
use toml::Spanned;

/// How a name service that fails behaves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NameFailure {
    /// Takes the question and never answers.
    #[default]
    Silent,
    /// Answers with response code 5, refused (RFC 1035).
    Refuse,
    /// Answers with response code 2, server failure.
    Servfail,
}

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// The switch port of the host goes down and comes back.
    LinkFlap,
    /// The router's two sides go down and its services stop.
    RouterRestart,
    /// The access line carries nothing.
    AccessCut,
    /// The router's name service fails.
    ResolverFailure {
        /// In which way.
        how: NameFailure,
    },
    /// A stray box on the LAN answers discovers.
    SecondAddressServer,
    /// The receiver's listener is closed.
    ReceiverRefusing,
    /// The access line loses frames.
    LossBurst {
        /// Share of round trips lost, each direction taking its part independently.
        loss: f64,
    },
    /// The host's address is taken from its interface.
    AddressRemoved,
    /// The host's default route is taken away.
    RouteRemoved,
    /// The access line is as slow as one that is full.
    LineCongested,
    /// What goes from the LAN to the reference points, or comes back, is dropped on the way.
    ReferencesFiltered,
    /// The same for the receiver.
    ReceiverSilent,
    /// The router's name service makes up an address for names that do not exist.
    NamesRewritten,
}

/// What can go wrong, without its parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// [`Fault::LinkFlap`]
    LinkFlap,
    /// [`Fault::RouterRestart`]
    RouterRestart,
    /// [`Fault::AccessCut`]
    AccessCut,
    /// [`Fault::ResolverFailure`]
    ResolverFailure,
    /// [`Fault::SecondAddressServer`]
    SecondAddressServer,
    /// [`Fault::ReceiverRefusing`]
    ReceiverRefusing,
    /// [`Fault::LossBurst`]
    LossBurst,
    /// [`Fault::AddressRemoved`]
    AddressRemoved,
    /// [`Fault::RouteRemoved`]
    RouteRemoved,
    /// [`Fault::LineCongested`]
    LineCongested,
    /// [`Fault::ReferencesFiltered`]
    ReferencesFiltered,
    /// [`Fault::ReceiverSilent`]
    ReceiverSilent,
    /// [`Fault::NamesRewritten`]
    NamesRewritten,
}

impl FaultKind {
    /// Every kind, in the order of the lanes.
    pub const ALL: [Self; 13] = [
        Self::LinkFlap,
        Self::AddressRemoved,
        Self::RouteRemoved,
        Self::SecondAddressServer,
        Self::RouterRestart,
        Self::AccessCut,
        Self::LineCongested,
        Self::ReferencesFiltered,
        Self::ResolverFailure,
        Self::NamesRewritten,
        Self::LossBurst,
        Self::ReceiverRefusing,
        Self::ReceiverSilent,
    ];

    /// The word for it in script files and tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::LinkFlap => "link-flap",
            Self::RouterRestart => "router-restart",
            Self::AccessCut => "access-cut",
            Self::ResolverFailure => "resolver-failure",
            Self::SecondAddressServer => "second-address-server",
            Self::ReceiverRefusing => "receiver-refusing",
            Self::LossBurst => "loss-burst",
            Self::AddressRemoved => "address-removed",
            Self::RouteRemoved => "route-removed",
            Self::LineCongested => "line-congested",
            Self::ReferencesFiltered => "references-filtered",
            Self::ReceiverSilent => "receiver-silent",
            Self::NamesRewritten => "names-rewritten",
        }
    }

    /// The cause the judge should name for it.
    pub const fn cause(self) -> Cause {
        match self {
            Self::LinkFlap => Cause::OwnLink,
            Self::RouterRestart => Cause::RouterRestart,
            Self::AccessCut => Cause::AccessLine,
            Self::ResolverFailure => Cause::NameService,
            Self::SecondAddressServer => Cause::SecondAddressServer,
            Self::ReceiverRefusing => Cause::ReceiverRefusing,
            Self::LossBurst => Cause::LossBurst,
            Self::AddressRemoved => Cause::AddressLost,
            Self::RouteRemoved => Cause::RouteLost,
            Self::LineCongested => Cause::Congestion,
            Self::ReferencesFiltered => Cause::ReferencesFiltered,
            Self::ReceiverSilent => Cause::ReceiverSilent,
            Self::NamesRewritten => Cause::NamesRewritten,
        }
    }

    /// The fault of this kind, with the parameters that are usual.
    const fn usual(self) -> Fault {
        match self {
            Self::LinkFlap => Fault::LinkFlap,
            Self::RouterRestart => Fault::RouterRestart,
            Self::AccessCut => Fault::AccessCut,
            Self::ResolverFailure => Fault::ResolverFailure { how: NameFailure::Silent },
            Self::SecondAddressServer => Fault::SecondAddressServer,
            Self::ReceiverRefusing => Fault::ReceiverRefusing,
            Self::LossBurst => Fault::LossBurst { loss: BURST_LOSS },
            Self::AddressRemoved => Fault::AddressRemoved,
            Self::RouteRemoved => Fault::RouteRemoved,
            Self::LineCongested => Fault::LineCongested,
            Self::ReferencesFiltered => Fault::ReferencesFiltered,
            Self::ReceiverSilent => Fault::ReceiverSilent,
            Self::NamesRewritten => Fault::NamesRewritten,
        }
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

impl Fault {
    /// The fault without its parameters.
    pub const fn kind(self) -> FaultKind {
        match self {
            Self::LinkFlap => FaultKind::LinkFlap,
            Self::RouterRestart => FaultKind::RouterRestart,
            Self::AccessCut => FaultKind::AccessCut,
            Self::ResolverFailure { .. } => FaultKind::ResolverFailure,
            Self::SecondAddressServer => FaultKind::SecondAddressServer,
            Self::ReceiverRefusing => FaultKind::ReceiverRefusing,
            Self::LossBurst { .. } => FaultKind::LossBurst,
            Self::AddressRemoved => FaultKind::AddressRemoved,
            Self::RouteRemoved => FaultKind::RouteRemoved,
            Self::LineCongested => FaultKind::LineCongested,
            Self::ReferencesFiltered => FaultKind::ReferencesFiltered,
            Self::ReceiverSilent => FaultKind::ReceiverSilent,
            Self::NamesRewritten => FaultKind::NamesRewritten,
        }
    }
}

/// One fault of the script. Seconds from the start of the script.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// When it begins.
    pub at_s: f64,
    /// How long it lasts.
    pub for_s: f64,
    /// What it is.
    pub fault: Fault,
}

impl Step {
    /// When it is over.
    pub fn until_s(&self) -> f64 {
        self.at_s + self.for_s
    }
}

/// A whole script.
#[derive(Clone, Debug, PartialEq)]
pub struct Script {
    /// For what is left to chance while it runs: jitter and which frames are lost.
    pub seed: u64,
    /// Length with the quiet spells, seconds.
    pub length_s: f64,
    /// The faults in order of time.
    pub steps: Vec<Step>,
}

/// What is wrong with a script file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}, {key}: found {found}; expected {expected}")]
pub struct ScriptError {
    /// The file, as it was named.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// The key, or `file` where the text as a whole is not TOML.
    pub key: String,
    /// What stands there.
    pub found: String,
    /// What should.
    pub expected: String,
}

/// Longest script, seconds: a day.
const LONGEST_S: f64 = 86_400.0;
/// Most steps in a script.
const MOST_STEPS: usize = 500;
/// Share of round trips a burst loses where none is named.
const BURST_LOSS: f64 = 0.75;
/// A burst starts and ends with a lost frame, found within about a second: a shorter one has no middle.
const SHORTEST_BURST_S: f64 = 3.0;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileText {
    seed: Option<u64>,
    length_s: Option<Spanned<f64>>,
    #[serde(default)]
    step: Vec<Spanned<StepText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepText {
    at_s: Spanned<f64>,
    for_s: Spanned<f64>,
    fault: Spanned<String>,
    how: Option<Spanned<String>>,
    loss: Option<Spanned<f64>>,
}

/// Where in which text something stands.
struct Page<'a> {
    file: &'a str,
    text: &'a str,
}

impl Page<'_> {
    fn wrong(&self, at: usize, key: &str, found: impl fmt::Display, expected: impl Into<String>) -> ScriptError {
        let before = self.text.get(..at).unwrap_or(self.text);
        ScriptError {
            file: self.file.to_owned(),
            line: before.matches('\n').count() + 1,
            key: key.to_owned(),
            found: found.to_string(),
            expected: expected.into(),
        }
    }

    fn not_toml(&self, e: &toml::de::Error) -> ScriptError {
        let span = e.span().unwrap_or(0..0);
        let line = self.text.get(..span.start).map_or(0, |t| t.matches('\n').count());
        let whole = self.text.lines().nth(line).unwrap_or_default().trim();
        let key = whole.split('=').next().map_or("", str::trim);
        let found = self.text.get(span.clone()).filter(|t| !t.trim().is_empty() && !t.contains('\n')).unwrap_or(whole);
        let key = if whole.contains('=') && !key.is_empty() { key } else { "file" };
        self.wrong(span.start, key, format_args!("`{}`", found.trim().escape_debug()), e.message())
    }
}

impl Script {
    /// Reads a script file's text; `file` is only for the error.
    pub fn read(file: &str, text: &str) -> Result<Self, ScriptError> {
        let page = Page { file, text };
        let raw: FileText = toml::from_str(text).map_err(|e| page.not_toml(&e))?;
        if raw.step.len() > MOST_STEPS {
            let at = raw.step[MOST_STEPS].span().start;
            return Err(page.wrong(
                at,
                "step",
                format_args!("{} steps", raw.step.len()),
                format!("at most {MOST_STEPS}"),
            ));
        }
        let mut steps = Vec::with_capacity(raw.step.len());
        for s in &raw.step {
            steps.push((s.span().start, read_step(&page, s.get_ref())?));
        }
        steps.sort_by(|a, b| a.1.at_s.total_cmp(&b.1.at_s));
        let mut busy: Option<Step> = None;
        let mut strayed: Option<Step> = None;
        for (at, step) in &steps {
            let lane = if step.fault == Fault::SecondAddressServer { &mut strayed } else { &mut busy };
            if let Some(before) = lane.filter(|b| b.until_s() > step.at_s) {
                return Err(page.wrong(
                    *at,
                    "at_s",
                    step.at_s,
                    format!(
                        "at least {}, when {} is over (only second-address-server may overlap others)",
                        before.until_s(),
                        before.fault.kind()
                    ),
                ));
            }
            *lane = Some(*step);
        }
        let last = steps.iter().map(|(_, s)| s.until_s()).fold(0.0, f64::max);
        let length_s = match &raw.length_s {
            None => last + 5.0,
            Some(l) if (last..=LONGEST_S).contains(l.get_ref()) => *l.get_ref(),
            Some(l) => {
                let expected = format!("seconds from {last} (the end of the last step) to {LONGEST_S}");
                return Err(page.wrong(l.span().start, "length_s", l.get_ref(), expected));
            }
        };
        Ok(Self { seed: raw.seed.unwrap_or(0), length_s, steps: steps.into_iter().map(|(_, s)| s).collect() })
    }
}

impl NameFailure {
    const ALL: [Self; 3] = [Self::Silent, Self::Refuse, Self::Servfail];

    /// The word for it in script files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Silent => "silent",
            Self::Refuse => "refuse",
            Self::Servfail => "servfail",
        }
    }
}

fn read_step(page: &Page<'_>, s: &StepText) -> Result<Step, ScriptError> {
    let in_range = |key: &str, v: &Spanned<f64>, least: f64, most: f64, unit: &str| {
        let x = *v.get_ref();
        if (least..=most).contains(&x) {
            Ok(x)
        } else {
            Err(page.wrong(v.span().start, key, x, format!("{unit} from {least} to {most}")))
        }
    };
    let word = s.fault.get_ref().as_str();
    let Some(kind) = FaultKind::ALL.into_iter().find(|k| k.word() == word) else {
        let known: Vec<_> = FaultKind::ALL.iter().map(|k| k.word()).collect();
        let found = format!("`{}`", word.escape_debug());
        return Err(page.wrong(s.fault.span().start, "fault", found, format!("one of {}", known.join(", "))));
    };
    let shortest = if kind == FaultKind::LossBurst { SHORTEST_BURST_S } else { 0.1 };
    let at_s = in_range("at_s", &s.at_s, 0.0, LONGEST_S, "seconds")?;
    let for_s = in_range("for_s", &s.for_s, shortest, LONGEST_S - at_s, "seconds")?;
    if let Some(how) = s.how.as_ref().filter(|_| kind != FaultKind::ResolverFailure) {
        return Err(page.wrong(how.span().start, "how", how.get_ref(), format!("no `how` with {kind}")));
    }
    if let Some(loss) = s.loss.as_ref().filter(|_| kind != FaultKind::LossBurst) {
        return Err(page.wrong(loss.span().start, "loss", loss.get_ref(), format!("no `loss` with {kind}")));
    }
    let fault = match kind {
        FaultKind::LossBurst => Fault::LossBurst {
            loss: s.loss.as_ref().map_or(Ok(BURST_LOSS), |l| in_range("loss", l, 0.01, 1.0, "a share"))?,
        },
        FaultKind::ResolverFailure => Fault::ResolverFailure {
            how: match &s.how {
                None => NameFailure::default(),
                Some(h) => NameFailure::ALL.into_iter().find(|n| n.word() == h.get_ref()).ok_or_else(|| {
                    let found = format!("`{}`", h.get_ref().escape_debug());
                    page.wrong(h.span().start, "how", found, "one of silent, refuse, servfail")
                })?,
            },
        },
        other => other.usual(),
    };
    Ok(Step { at_s, for_s, fault })
}

/// Quiet at the start, seconds.
pub const QUIET_START_S: f64 = 6.0;
/// Least quiet between two faults and at the end, seconds.
pub const QUIET_S: f64 = 4.0;
/// The second address server may run this far into the quiet spell after it, seconds.
const STRAY_INTO_QUIET_S: f64 = 2.0;
/// Seconds handed out at random over lengths and quiet spells; keeps every script to the same length.
const SLACK_S: f64 = 7.0;

/// Least and most seconds of each fault in a generated script.
const fn bounds(kind: FaultKind) -> (f64, f64) {
    match kind {
        FaultKind::LinkFlap => (1.0, 2.0),
        FaultKind::RouterRestart | FaultKind::AddressRemoved | FaultKind::RouteRemoved => (6.0, 10.0),
        FaultKind::AccessCut
        | FaultKind::ResolverFailure
        | FaultKind::ReceiverRefusing
        | FaultKind::ReceiverSilent
        | FaultKind::ReferencesFiltered => (8.0, 12.0),
        // Ten seconds of slow answers make congestion; a made-up name is asked for each six seconds, and one is none.
        FaultKind::LineCongested | FaultKind::NamesRewritten => (15.0, 17.0),
        FaultKind::SecondAddressServer => (25.0, 27.0),
        FaultKind::LossBurst => (8.0, 10.0),
    }
}

/// Faults in a generated script.
const IN_A_SCRIPT: usize = 7;

/// The script a seed stands for: seven of the faults, which, in what order and how long drawn from the seed, quiet spells
/// between. About 100 seconds.
pub fn generate(seed: u64) -> Script {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut kinds = FaultKind::ALL;
    kinds.shuffle(&mut rng);
    // What is usual must be known before anything can be slow.
    if let Some(at @ ..3) = kinds.iter().position(|k| *k == FaultKind::LineCongested) {
        kinds.swap(at, 3);
    }
    let kinds = &kinds[..IN_A_SCRIPT];
    // Shares of the slack: one for each length and one for each quiet spell.
    let weights: [f64; 15] = std::array::from_fn(|_| rng.random::<f64>());
    let total: f64 = weights.iter().sum();
    let share = |i: usize| SLACK_S * weights[i] / total;
    let mut at = QUIET_START_S + share(14);
    let mut steps = Vec::with_capacity(kinds.len());
    for (i, kind) in kinds.iter().copied().enumerate() {
        let (least, most) = bounds(kind);
        let at_s = tenths(at);
        let for_s = tenths((least + share(i)).min(most));
        let fault = match kind {
            FaultKind::ResolverFailure => {
                Fault::ResolverFailure { how: NameFailure::ALL[rng.random_range(0..NameFailure::ALL.len())] }
            }
            other => other.usual(),
        };
        steps.push(Step { at_s, for_s, fault });
        let into = if kind == FaultKind::SecondAddressServer { STRAY_INTO_QUIET_S } else { 0.0 };
        at = at_s + for_s - into + QUIET_S + share(7 + i) + 0.05;
    }
    let length_s = tenths(at + STRAY_INTO_QUIET_S);
    Script { seed, length_s, steps }
}

fn tenths(s: f64) -> f64 {
    (s * 10.0).round() / 10.0
}

#[cfg(test)]
#[path = "script_tests.rs"]
mod tests;
