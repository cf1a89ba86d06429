//! The verdict: mendable faults first, then requirement by requirement.
//!
//! The order: signalling out of scope is never "IP alone"; "add a cellular backup" when a requirement is shown not to
//! hold over outages that nobody at the site can mend, or the path does not stand long enough without mains and no
//! battery on site mends that; "mend this first" when a mendable trouble was seen lately or a battery mends it; "IP alone is
//! enough" only when every requirement is met; otherwise keep watching, with the safer choice for today.
//!
//! What decides is the evidence alone. What is believed of the line before watching gives the odds for today, is shown
//! with the verdict it would give, and may withhold "IP alone is enough"; it can't grant it. Else a site worse than its
//! kind would be called good for its kind's sake, and no error rate could be promised.

use crate::judge::causes::Trouble;
use crate::judge::causes::look::Look;
use crate::judge::decide::mending;
use crate::judge::decide::outage::{self, Outage};
use crate::judge::decide::requirement::{Ask, Evidence, Held, Require};
use crate::judge::decide::settings::{Settings, Stands};
use crate::judge::decide::thresholds::LOOKS;
use crate::judge::facts::stretches;
use crate::judge::facts::{Micros, Moment};
use crate::judge::stats::band_posterior::BandPrior;
use std::cmp::Reverse;
use std::collections::BTreeSet;

pub use crate::judge::decide::requirement::Standing;

/// The four verdicts.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
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
    /// Requirements held against the outages that mending would not remove, on the evidence alone.
    pub held: Vec<Held>,
    /// The same with what is believed of the line; empty where nothing is.
    pub held_with_prior: Vec<Held>,
    /// The verdict on the evidence alone.
    pub kind_alone: VerdictKind,
    /// The verdict it would be with that belief.
    pub kind_with_prior: VerdictKind,
    /// Probability that the availability asked for holds, on the evidence alone and with that belief.
    pub odds: Option<(f64, f64)>,
    /// Observed time still needed if nothing more goes wrong; `None` when enough, or when that can't be said.
    pub needs: Option<Micros>,
    /// What the requirements were held against: outages that mending would not remove, planned spans left out.
    pub evidence: Evidence,
    /// The same with every outage, for the figures.
    pub as_it_is: Evidence,
    /// Mendable troubles, by their place in the look, that have not come again for so long that they ask for nothing:
    /// they count among the evidence.
    pub lapsed: BTreeSet<usize>,
    /// Whether the path stands without mains as long as it must, where both are known.
    pub stands: Option<Stands>,
    /// What the lanes did.
    pub look: Look,
}

/// How standing without mains counts as a requirement: one that a battery mends is mended first, and one that is met
/// decides nothing, as no week of watching could have shown it.
pub(crate) fn standby(stands: Option<Stands>) -> Option<Standing> {
    stands.filter(|s| *s == Stands::NoBatteryMends).map(|_| Standing::NotMet)
}

/// The verdict from how the requirements stand.
pub(crate) fn decide(standings: impl IntoIterator<Item = Standing>, mendable: bool, out_of_scope: bool) -> VerdictKind {
    let standings: Vec<Standing> = standings.into_iter().collect();
    if standings.contains(&Standing::NotMet) {
        VerdictKind::AddCellular
    } else if mendable {
        VerdictKind::MendFirst
    } else if !out_of_scope && !standings.is_empty() && standings.iter().all(|s| *s == Standing::Met) {
        VerdictKind::IpAlone
    } else {
        VerdictKind::KeepWatching
    }
}

impl Judgement {
    /// Troubles that somebody can mend and that still ask for it.
    pub fn mendable(&self) -> impl Iterator<Item = &Trouble> {
        to_mend(&self.look, &self.lapsed)
    }
}

fn to_mend<'a>(look: &'a Look, lapsed: &'a BTreeSet<usize>) -> impl Iterator<Item = &'a Trouble> {
    look.troubles.iter().enumerate().filter(|(place, t)| t.cause.mendable() && !lapsed.contains(place)).map(|(_, t)| t)
}

/// The verdict on a look by these requirements; with none, what was seen is told and nothing held against it.
pub fn judge(look: Look, settings: &Settings, requirements: &[Require]) -> Judgement {
    let mut lapsed = mending::lapsed(&look);
    let without_mending = |lapsed: &BTreeSet<usize>| {
        evidence_of(&look, settings, |place, t| !t.cause.mendable() || lapsed.contains(&place))
    };
    let by = |evidence: &Evidence, belief: BandPrior| -> Vec<Held> {
        requirements.iter().map(|r| r.hold_by(evidence, belief, &LOOKS)).collect()
    };
    let costs = |held: &[Held]| held.iter().any(|h| h.standing == Standing::NotMet);
    let mut evidence = without_mending(&lapsed);
    let mut held = by(&evidence, BandPrior::PUBLISHED);
    // What lapsed and yet costs a requirement by itself is to be mended after all.
    if !lapsed.is_empty() && costs(&held) {
        let less = without_mending(&BTreeSet::new());
        let held_less = by(&less, BandPrior::PUBLISHED);
        if !costs(&held_less) {
            (lapsed, evidence, held) = (BTreeSet::new(), less, held_less);
        }
    }
    let as_it_is = evidence_of(&look, settings, |_, _| true);
    let prior = settings.known.prior;
    let held_with_prior = if prior.says_something() { by(&evidence, prior.belief()) } else { Vec::new() };
    // The headline is the mendable cause that kept the path down longest; its confidence is the verdict's.
    let down = look.down_by();
    let surest = to_mend(&look, &lapsed).min_by_key(|t| Reverse(down.get(&t.cause))).map(|t| t.confidence);
    let out_of_scope = !settings.out_of_scope.is_empty();
    // A glance holds nothing against what must be.
    let standby_known = settings.known.standby.as_ref().filter(|_| !requirements.is_empty());
    let stands = standby_known.map(|s| s.stands);
    let standings = |held: &[Held]| held.iter().map(|h| h.standing).chain(standby(stands)).collect::<Vec<_>>();
    let mend = surest.is_some() || stands == Some(Stands::BatteryMends);
    let alone = decide(standings(&held), mend, out_of_scope);
    let kind_with_prior =
        if held_with_prior.is_empty() { alone } else { decide(standings(&held_with_prior), mend, out_of_scope) };
    let withheld = alone == VerdictKind::IpAlone && kind_with_prior != VerdictKind::IpAlone;
    let kind = if withheld { VerdictKind::KeepWatching } else { alone };
    let holding = || held.iter().filter_map(|h| h.holds);
    let confidence = match kind {
        VerdictKind::AddCellular => {
            let failed = held.iter().filter(|h| h.standing == Standing::NotMet);
            // An outage longer than the interval was seen: that is no matter of probability.
            failed.map(|h| h.holds.map_or(1.0, |p| 1.0 - p)).reduce(f64::max)
        }
        VerdictKind::MendFirst => surest,
        VerdictKind::IpAlone => holding().reduce(f64::min),
        VerdictKind::KeepWatching => None,
    };
    let availability =
        |held: &[Held]| held.iter().filter(|h| matches!(h.require.ask, Ask::Availability { .. })).find_map(|h| h.holds);
    let odds = availability(&held).map(|alone| (alone, availability(&held_with_prior).unwrap_or(alone)));
    let standing = if withheld { &held_with_prior } else { &held };
    let open: Vec<&Held> = standing.iter().filter(|h| h.standing == Standing::Open).collect();
    let needs = match kind {
        // What can't be asked at all is not settled by waiting.
        VerdictKind::KeepWatching if look.observed == Micros::ZERO => None,
        VerdictKind::KeepWatching if !out_of_scope && open.iter().all(|h| h.needs.is_some()) => {
            open.iter().filter_map(|h| h.needs).max()
        }
        _ => None,
    };
    Judgement {
        kind,
        confidence,
        held,
        held_with_prior,
        kind_alone: alone,
        kind_with_prior,
        odds,
        needs,
        evidence,
        as_it_is,
        lapsed,
        stands,
        look,
    }
}

/// What requirements are held against, of the troubles that count.
fn evidence_of(look: &Look, settings: &Settings, counts: impl Fn(usize, &Trouble) -> bool) -> Evidence {
    let outages = look
        .troubles
        .iter()
        .enumerate()
        .filter(|(place, t)| counts(*place, t))
        .filter_map(|(_, t)| t.path_down)
        .map(|(from, to)| Outage { from, to })
        .collect();
    let (lost, asked) = look.path_loss();
    Evidence {
        elapsed: look.now - Moment(0),
        outages: outage::without_planned(&outage::joined(outages, look.now), &look.planned, look.now),
        unseen: stretches::less(&[(Moment(0), look.now)], &look.seen),
        planned: stretches::total(&look.planned),
        supervision: settings.supervision,
        signalling: settings.known.signalling.clone(),
        attempt_loss: if asked > 0 { lost as f64 / asked as f64 } else { 0.0 },
    }
}
