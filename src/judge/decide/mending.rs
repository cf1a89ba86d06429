//! Which mendable troubles still ask for mending, and which have not come again for so long that they lapsed.
//!
//! A lead that lost its carrier once must not keep the verdict at "mend this first" for the whole record. A trouble that
//! lapsed is taken for mended by nobody: its outages count from then on like any other. Where counting them costs a
//! requirement they have not lapsed after all (see `verdict`): its coming again would cost it, and what a new lead mends
//! is no reason for a cellular backup.

use crate::judge::causes::look::Look;
use crate::judge::causes::{Cause, Trouble};
use crate::judge::decide::thresholds::{MENDING, MendRule};
use crate::judge::facts::stretches;
use crate::judge::facts::{Micros, Moment};
use crate::judge::lanes::span::Oddity;
use std::collections::{BTreeMap, BTreeSet};

/// Troubles by their place in [`Look::troubles`] that lapsed.
pub fn lapsed(look: &Look) -> BTreeSet<usize> {
    by(look, MENDING)
}

fn by(look: &Look, rule: MendRule) -> BTreeSet<usize> {
    let mut causes: BTreeMap<Cause, Vec<(usize, &Trouble)>> = BTreeMap::new();
    // While the agent was cut off nobody saw the path: what cannot be counted must not lapse.
    let counted = |t: &Trouble| !matches!(t.root.oddity, Oddity::CutOff(_));
    for (place, t) in look.troubles.iter().enumerate().filter(|(_, t)| t.cause.mendable() && counted(t)) {
        causes.entry(t.cause).or_default().push((place, t));
    }
    let over = |occurrences: &Vec<(usize, &Trouble)>| {
        // One still open asks for mending.
        let ends: Option<Vec<Moment>> = occurrences.iter().map(|(_, t)| t.root.end.map(|e| e.latest)).collect();
        let Some(last) = ends.as_ref().and_then(|e| e.iter().max()) else { return false };
        let starts = occurrences.iter().map(|(_, t)| t.root.start.earliest);
        let again = starts.zip(ends.iter().flatten().scan(None, |seen: &mut Option<Moment>, end| {
            let before = *seen;
            *seen = Some(before.map_or(*end, |b| b.max(*end)));
            Some(before)
        }));
        let recurs = again.filter_map(|(start, before)| before.map(|b| start - b)).any(|gap| gap > rule.apart);
        let quiet = stretches::total(&stretches::less(&look.seen, &[(Moment(i64::MIN), *last)]));
        quiet >= if recurs { rule.recurring } else { rule.once } && quiet > Micros::ZERO
    };
    causes.values().filter(|o| over(o)).flat_map(|o| o.iter().map(|(place, _)| *place)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::VerdictKind;
    use crate::judge::kit::{Site, beyond_lead, timeout};

    const RULE: MendRule =
        MendRule { once: Micros::from_secs(100), recurring: Micros::from_secs(300), apart: Micros::from_secs(60) };

    /// A router that is silent for eight seconds at each of these.
    fn look(seconds: i64, at: &'static [i64]) -> Look {
        let silent = |ms: i64| at.iter().any(|a| (a * 1_000..a * 1_000 + 8_000).contains(&ms));
        Site::new(seconds, move |t, ms| timeout(beyond_lead(t) && silent(ms))).look()
    }

    #[test]
    fn one_trouble_lapses_soon_one_that_recurs_later_and_one_that_lasts_not_at_all() {
        assert!(by(&look(90, &[30]), RULE).is_empty());
        assert_eq!(by(&look(180, &[30]), RULE).len(), 1);
        // Twice within the time apart is one occurrence.
        assert_eq!(by(&look(240, &[30, 70]), RULE).len(), 2);
        assert!(by(&look(350, &[30, 150]), RULE).is_empty());
        assert_eq!(by(&look(480, &[30, 150]), RULE).len(), 2);
        assert!(by(&look(36, &[30]), MendRule { once: Micros::ZERO, ..RULE }).is_empty());
    }

    #[test]
    fn a_flap_on_the_first_day_no_longer_holds_the_verdict_but_a_long_loss_does() {
        // Asked each minute for two days; the router was silent for a while in the first hour.
        let verdict = |until: i64| {
            let silent = move |ms: i64| (600_000..until * 1_000).contains(&ms);
            let mut site = Site::new(182_000, move |t, ms| timeout(beyond_lead(t) && silent(ms)));
            site.every = 60;
            site.judged().judgement()
        };
        let j = verdict(840);
        assert_eq!(j.look.troubles.len(), 1, "{:?}", j.look.troubles);
        assert!(j.kind != VerdictKind::MendFirst && j.mendable().count() == 0, "{:?}", j.decided);
        // Counted like any other outage from then on.
        assert_eq!(j.evidence.outages.len(), 1);
        // Over 25 hours cost a requirement: the router is to be mended, and no cellular sold for it.
        let j = verdict(91_600);
        assert_eq!((j.kind, j.mendable().count()), (VerdictKind::MendFirst, 1), "{:?}", j.held);
        assert!(j.evidence.outages.is_empty());
    }

    #[test]
    fn a_power_cut_that_nobody_watched_never_lapses() {
        // The battery's source saw the mains go; then the agent was cut off for an hour.
        let lost = crate::judge::kit::mains(600, &[(590, 700)]);
        let (mut first, mut second) = (Site::new(600, |_, _| None).and(lost), Site::new(182_000, |_, _| None));
        (first.ends, second.boot_id, second.from, second.every) = (false, "b-2", 4_200, 60);
        let mut judge = crate::judge::Judge::new(crate::judge::kit::settings(60));
        for e in first.entries().iter().chain(&second.entries()) {
            judge.take(e);
        }
        let look = judge.look();
        assert!(look.troubles.iter().any(|t| t.cause.mendable()), "{:?}", look.troubles);
        assert!(by(&look, RULE).is_empty());
        assert_eq!(judge.judgement().kind, VerdictKind::MendFirst);
    }
}
