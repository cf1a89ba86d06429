//! The verdict: mendable faults first, then requirement by requirement.
//!
//! "IP alone is enough" only when every requirement is met; "add a cellular backup" when one is shown not to hold for
//! outages that nobody at the site can mend; otherwise keep watching, with the safer choice for today.

use super::cause::Trouble;
use super::fold::{Judge, Look};
use super::requirement::{Evidence, Held, Require};
use super::stats::duration::Lasted;
use super::time::{Edge, Micros, Moment};

pub use super::requirement::Standing;

/// The four verdicts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VerdictKind {
    /// IP alone is enough.
    IpAlone,
    /// Mend this first.
    MendFirst,
    /// Add a cellular backup.
    AddCellular,
    /// Keep watching: not enough evidence yet.
    #[default]
    KeepWatching,
}

impl VerdictKind {
    /// The verdict in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::IpAlone => "IP alone is enough",
            Self::MendFirst => "Mend this first",
            Self::AddCellular => "Add a cellular backup",
            Self::KeepWatching => "Keep watching: not enough evidence yet",
        }
    }
}

/// A verdict and everything it rests on.
#[derive(Clone, Debug)]
pub struct Judgement {
    /// Which of the four.
    pub kind: VerdictKind,
    /// How sure, 0 to 1; `None` where no honest number can be given.
    pub confidence: Option<f64>,
    /// Requirements held against the outages that mending would not remove.
    pub held: Vec<Held>,
    /// Observed time still needed if nothing more goes wrong; `None` when enough, or when that can't be said.
    pub needs: Option<Micros>,
    /// What the lanes did.
    pub look: Look,
}

impl Judgement {
    /// Troubles somebody can mend.
    pub fn mendable(&self) -> impl Iterator<Item = &Trouble> {
        self.look.troubles.iter().filter(|t| t.cause.mendable())
    }
}

impl Judge {
    /// What was seen so far without holding any requirement against it: cheap enough for every second.
    pub fn glance(&self) -> Judgement {
        self.judge(&[])
    }

    /// The verdict on what was seen so far.
    pub fn judgement(&self) -> Judgement {
        self.judge(&self.settings().requirements.require)
    }

    fn judge(&self, requirements: &[Require]) -> Judgement {
        let look = self.look();
        let evidence = Evidence {
            elapsed: look.now - Moment(0),
            observed: look.observed,
            outages: outages(&look.troubles, look.now),
            supervision: self.settings().supervision,
        };
        let held: Vec<Held> = requirements.iter().map(|r| r.hold(&evidence)).collect();
        let surest = look.troubles.iter().filter(|t| t.cause.mendable()).map(|t| t.confidence).reduce(f64::max);
        let (kind, confidence) = if held.iter().any(|h| h.standing == Standing::NotMet) {
            (VerdictKind::AddCellular, Some(0.95))
        } else if let Some(sure) = surest {
            (VerdictKind::MendFirst, Some(sure))
        } else if !held.is_empty() && held.iter().all(|h| h.standing == Standing::Met) {
            (VerdictKind::IpAlone, Some(0.95))
        } else {
            (VerdictKind::KeepWatching, None)
        };
        let open: Vec<&Held> = held.iter().filter(|h| h.standing == Standing::Open).collect();
        let needs = match kind {
            VerdictKind::KeepWatching if open.iter().all(|h| h.needs.is_some()) => {
                open.iter().filter_map(|h| h.needs).max()
            }
            _ => None,
        };
        Judgement { kind, confidence, held, needs, look }
    }
}

/// The outages that mending would not remove; overlapping ones count once.
fn outages(troubles: &[Trouble], now: Moment) -> Vec<Lasted> {
    let mut spans: Vec<(Moment, Moment, bool)> = troubles
        .iter()
        .filter(|t| !t.cause.mendable())
        .filter_map(|t| t.path_down)
        .map(|(from, to)| (from.midpoint(), to.map_or(now, Edge::midpoint), to.is_some()))
        .collect();
    spans.sort_unstable();
    let mut joined: Vec<(Moment, Moment, bool)> = Vec::new();
    for (from, to, ended) in spans {
        match joined.last_mut() {
            Some(last) if from <= last.1 => (last.1, last.2) = (last.1.max(to), last.2 && ended),
            _ => joined.push((from, to, ended)),
        }
    }
    joined.iter().map(|(a, b, ended)| Lasted { seconds: (*b - *a).secs(), ended: *ended }).collect()
}
