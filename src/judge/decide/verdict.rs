//! The verdict: mendable faults first, then requirement by requirement.
//!
//! The order: signalling out of scope is never "IP alone"; "add a cellular backup" when a requirement is shown not to
//! hold over outages that nobody at the site can mend, or the path does not stand long enough without mains and no
//! battery on site mends that; "mend this first" when a mendable trouble was seen lately or a battery mends it. Where the
//! evidence alone shows neither, `choice` decides by odds over lines of its kind, and says so.

use crate::judge::causes::Trouble;
use crate::judge::causes::look::Look;
use crate::judge::decide::choice::{Decided, Ground};
use crate::judge::decide::kinds::{by_evidence, standby};
use crate::judge::decide::mending;
use crate::judge::decide::outage::{self, Outage};
use crate::judge::decide::requirement::{Ask, Evidence, Held, Require};
use crate::judge::decide::settings::{Settings, Stands};
use crate::judge::facts::stretches;
use crate::judge::facts::{Micros, Moment};
use std::cmp::Reverse;
use std::collections::BTreeSet;

pub use crate::judge::decide::kinds::VerdictKind;
pub use crate::judge::decide::requirement::Standing;

/// A verdict and everything it rests on.
#[derive(Clone, Debug)]
pub struct Judgement {
    /// Which of the four.
    pub kind: VerdictKind,
    /// How sure, 0 to 1; `None` where no honest number can be given.
    pub confidence: Option<f64>,
    /// Requirements held against the outages that mending would not remove, on the evidence alone.
    pub held: Vec<Held>,
    /// The verdict on the evidence alone.
    pub kind_alone: VerdictKind,
    /// Probability that the availability asked for holds, on the evidence alone.
    pub holds_alone: Option<f64>,
    /// The choice for today, and what carries the verdict.
    pub decided: Decided,
    /// What it was decided on besides the evidence.
    pub ground: Ground,
    /// Observed time still needed if nothing more goes wrong; `None` when enough, or when that can't be said.
    pub needs: Option<Micros>,
    /// What the requirements were held against: outages that mending would not remove, planned spans left out.
    pub evidence: Evidence,
    /// The same with every outage, for the figures.
    pub as_it_is: Evidence,
    /// Mendable troubles, by their place in the look, that have not come again for so long that they ask for nothing:
    /// they count among the evidence.
    pub lapsed: BTreeSet<usize>,
    /// What the lanes did.
    pub look: Look,
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
    let by = |evidence: &Evidence| -> Vec<Held> { requirements.iter().map(|r| r.hold(evidence)).collect() };
    let costs = |held: &[Held]| held.iter().any(|h| h.standing == Standing::NotMet);
    let mut evidence = without_mending(&lapsed);
    let mut held = by(&evidence);
    // What lapsed and yet costs a requirement by itself is to be mended after all.
    if !lapsed.is_empty() && costs(&held) {
        let less = without_mending(&BTreeSet::new());
        let held_less = by(&less);
        if !costs(&held_less) {
            (lapsed, evidence, held) = (BTreeSet::new(), less, held_less);
        }
    }
    let as_it_is = evidence_of(&look, settings, |_, _| true);
    // The headline is the mendable cause that kept the path down longest; its confidence is the verdict's.
    let down = look.down_by();
    let surest = to_mend(&look, &lapsed).min_by_key(|t| Reverse(down.get(&t.cause))).map(|t| t.confidence);
    let out_of_scope = !settings.out_of_scope.is_empty();
    // A glance holds nothing against what must be.
    let standby_known = settings.known.standby.as_ref().filter(|_| !requirements.is_empty());
    let stands = standby_known.map(|s| s.stands);
    let ground = Ground {
        prior: settings.known.prior,
        caution: settings.known.caution,
        mend: surest.is_some() || stands == Some(Stands::BatteryMends),
        out_of_scope,
        stands,
    };
    let decided = ground.decide(&evidence, &held);
    let standings = held.iter().map(|h| h.standing).chain(standby(stands));
    let kind_alone = by_evidence(standings, ground.mend, out_of_scope);
    let kind = decided.kind;
    let least = held.iter().filter_map(|h| h.holds).reduce(f64::min);
    let failed = held.iter().filter(|h| h.standing == Standing::NotMet);
    let confidence = match (kind, decided.odds) {
        // An outage longer than the interval was seen: that is no matter of probability.
        (VerdictKind::AddCellular, _) if failed.clone().any(|h| h.holds.is_none()) => Some(1.0),
        // Nor is a battery that can't be had.
        (VerdictKind::AddCellular, _) if stands == Some(Stands::NoBatteryMends) => None,
        (VerdictKind::AddCellular, Some(odds)) => Some(odds.misses),
        (VerdictKind::AddCellular, None) => failed.filter_map(|h| h.holds).map(|p| 1.0 - p).reduce(f64::max),
        (VerdictKind::MendFirst, _) => surest,
        (VerdictKind::IpAlone, odds) => odds.map_or(least, |o| Some(1.0 - o.misses)),
        (VerdictKind::KeepWatching, _) => None,
    };
    let availability = |h: &&Held| matches!(h.require.ask, Ask::Availability { .. });
    let holds_alone = held.iter().find(availability).and_then(|h| h.holds);
    let open: Vec<&Held> = held.iter().filter(|h| h.standing == Standing::Open).collect();
    let needs = match (kind, decided.further) {
        // What can't be asked at all is not settled by waiting.
        (VerdictKind::KeepWatching, _) if look.observed == Micros::ZERO => None,
        (VerdictKind::KeepWatching, Some(further)) => Some(further.quiet).filter(|q| *q > Micros::ZERO),
        (VerdictKind::KeepWatching, None) if !out_of_scope && open.iter().all(|h| h.needs.is_some()) => {
            open.iter().filter_map(|h| h.needs).max()
        }
        _ => None,
    };
    Judgement {
        kind,
        confidence,
        held,
        kind_alone,
        holds_alone,
        decided,
        ground,
        needs,
        evidence,
        as_it_is,
        lapsed,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::kinds::by_evidence;

    #[test]
    fn what_is_out_of_scope_is_never_told_that_ip_alone_is_enough() {
        assert_eq!(by_evidence([Standing::Met], false, false), VerdictKind::IpAlone);
        assert_eq!(by_evidence([Standing::Met], false, true), VerdictKind::KeepWatching);
        assert_eq!(by_evidence([], false, false), VerdictKind::KeepWatching);
        assert_eq!(by_evidence([Standing::NotMet], true, true), VerdictKind::AddCellular);
        assert_eq!(by_evidence([Standing::Met], true, false), VerdictKind::MendFirst);
    }
}
