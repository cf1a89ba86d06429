//! The choice for today, the verdict it makes, and the cheapest further evidence that may turn it.
//!
//! Decides by odds where the evidence alone shows nothing: IP alone where the odds that the line misses what is asked
//! are small enough for how careful the site is, a cellular backup where they are not; "keep watching" only where a
//! stated amount of further evidence has a fair chance to turn that. What forbids IP alone whatever the odds comes first:
//! a requirement shown not to hold, measured time down above what is asked, too little watched, the path down right now.
//! Does not weigh evidence: `belief` does.

use crate::judge::decide::ask::Ask;
use crate::judge::decide::belief::weigh::Watched;
use crate::judge::decide::belief::{Belief, Limit, Odds};
use crate::judge::decide::evidence::Evidence;
use crate::judge::decide::kinds::{self, VerdictKind};
use crate::judge::decide::prior::Prior;
use crate::judge::decide::requirement::{Held, Measured, Standing};
use crate::judge::decide::settings::Stands;
use crate::judge::decide::thresholds::{Caution, LOOKS};
use crate::judge::facts::Micros;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The odds of missing what is asked from which a backup is the likely verdict.
const RATHER: f64 = 0.5;
/// A chance to turn today's choice that is worth waiting for (choice: one in five).
const FAIR: f64 = 0.2;
/// Days of quiet watching tried; past a quarter nobody waits for a choice (choice).
const DAYS: [f64; 13] = [0.0, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 21.0, 30.0, 45.0, 60.0, 90.0];

/// What to do today.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Choice {
    /// The internet line alone.
    IpAlone,
    /// With a cellular backup.
    WithCellular,
}

/// What carries a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// What was watched, alone.
    Shown,
    /// The odds over lines of its kind, after what was watched.
    Likely,
}

/// The cheapest further evidence with a fair chance to turn today's choice to IP alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Further {
    /// Whether it takes knowing what kind of line it is.
    pub kind_of_line: bool,
    /// How much longer to watch without an outage; zero where it takes none.
    pub quiet: Micros,
    /// The chance that it turns the choice.
    pub chance: f64,
}

/// What forbids IP alone although the odds are good enough for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bar {
    /// The path is down as the evidence ends.
    DownNow,
    /// No whole week was watched, and nothing told of one before.
    NoWeek,
    /// Too much of the time was not seen.
    Unseen,
    /// What was measured is worse than what is asked.
    Measured,
}

/// What is known besides the evidence.
#[derive(Clone, Copy, Debug)]
pub struct Ground {
    /// The line, before it is watched.
    pub prior: Prior,
    /// How careful the site is.
    pub caution: Caution,
    /// Whether something asks for mending.
    pub mend: bool,
    /// Whether a use is out of scope.
    pub out_of_scope: bool,
    /// How the path stands without mains.
    pub stands: Option<Stands>,
}

/// What was decided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decided {
    /// Which of the four.
    pub kind: VerdictKind,
    /// What to do today; `None` where nothing could be asked or nothing may be judged.
    pub choice: Option<Choice>,
    /// What carries "IP alone" and "add a cellular backup"; `None` for the others.
    pub basis: Option<Basis>,
    /// Odds that the line misses what is asked; `None` where there are none.
    pub odds: Option<Odds>,
    /// Whether what was seen is beyond every line known of: then the evidence alone decides.
    pub beyond: bool,
    /// What forbids IP alone at such odds; `None` where the odds are not good enough, or nothing does.
    pub bar: Option<Bar>,
    /// What may turn "with a cellular backup"; `None` where nothing has a fair chance, or it was not looked for.
    pub further: Option<Further>,
}

impl Ground {
    /// Decides, and looks for what may turn it.
    pub fn decide(&self, e: &Evidence, held: &[Held]) -> Decided {
        self.on(e, held, true)
    }

    /// Decides without that search: what is between the two is then left at "keep watching".
    pub fn decide_only(&self, e: &Evidence, held: &[Held]) -> Decided {
        self.on(e, held, false)
    }

    /// Whether nothing forbids IP alone, whatever the odds.
    pub fn allows(&self, e: &Evidence, held: &[Held]) -> bool {
        let alone = kinds::by_evidence(held.iter().map(|h| h.standing), self.mend, self.out_of_scope);
        alone == VerdictKind::IpAlone || alone == VerdictKind::KeepWatching && self.barred(e, held).0 == Some(0.0)
    }

    /// How much longer nothing may go wrong before IP alone is not forbidden whatever the odds, seconds; `None`: it stays
    /// so. And what forbids it most. A path that is down now is to come back first.
    fn barred(&self, e: &Evidence, held: &[Held]) -> (Option<f64>, Option<Bar>) {
        let (least, bar) = barred(e, held, self.prior.unbroken.map_or(0.0, |u| u.seconds));
        if runs_on(e) { (least.map(|l| l.max(1.0)), Some(Bar::DownNow)) } else { (least, bar) }
    }

    /// Whether odds are good enough for IP alone: at published rates, and within twice that where rates are worse.
    fn accepts(&self, odds: Odds) -> bool {
        odds.misses <= self.caution.most() && odds.if_worse <= 2.0 * self.caution.most()
    }

    fn on(&self, e: &Evidence, held: &[Held], search: bool) -> Decided {
        let standings = held.iter().map(|h| h.standing).chain(kinds::standby(self.stands));
        let alone = kinds::by_evidence(standings, self.mend, self.out_of_scope);
        let none =
            Decided { kind: alone, choice: None, basis: None, odds: None, beyond: false, bar: None, further: None };
        if e.observed() <= Micros::ZERO || held.is_empty() || self.out_of_scope {
            return Decided { basis: shown(alone), ..none };
        }
        let by_evidence = Decided {
            choice: Some(if alone == VerdictKind::IpAlone { Choice::IpAlone } else { Choice::WithCellular }),
            basis: shown(alone),
            ..none
        };
        let limits = Limit::among(held.iter().map(|h| &h.require), e);
        if limits.is_empty() {
            return by_evidence;
        }
        let belief = Belief::new(&Watched::of(e), &self.prior);
        if belief.beyond() {
            return Decided { beyond: true, ..by_evidence };
        }
        let odds = belief.odds(&limits);
        let barred = self.barred(e, held);
        let bar = barred.1.filter(|_| self.accepts(odds));
        let by_evidence = Decided { odds: Some(odds), bar, ..by_evidence };
        match alone {
            VerdictKind::AddCellular | VerdictKind::MendFirst => return by_evidence,
            VerdictKind::IpAlone if odds.misses <= self.caution.most() => return by_evidence,
            VerdictKind::IpAlone | VerdictKind::KeepWatching => {}
        }
        let likely = |kind, choice| Decided { kind, choice: Some(choice), basis: Some(Basis::Likely), ..by_evidence };
        if barred.0 == Some(0.0) && self.accepts(odds) {
            return likely(VerdictKind::IpAlone, Choice::IpAlone);
        }
        let add = likely(VerdictKind::AddCellular, Choice::WithCellular);
        if odds.misses >= RATHER {
            return add;
        }
        let waits = Decided { kind: VerdictKind::KeepWatching, choice: Some(Choice::WithCellular), basis: None, ..add };
        if !search {
            return waits;
        }
        match barred.0.and_then(|least| self.further(&belief, &limits, least)) {
            Some(further) => Decided { further: Some(further), ..waits },
            None => add,
        }
    }

    /// The shortest quiet watch that, with the kind of line where it is not known, has a fair chance to turn the choice.
    fn further(&self, belief: &Belief, limits: &[Limit], least: f64) -> Option<Further> {
        let kind_of_line = self.prior.access.is_none();
        let mut tried = None;
        let quiet = belief.quiet_ahead(limits);
        DAYS.iter().map(|d| (d * 86_400.0).max(least)).find_map(|seconds| {
            // What forbids IP alone for a month makes all shorter stretches the same.
            if tried.replace(seconds) == Some(seconds) {
                return None;
            }
            let chance = quiet.after(seconds).iter().filter(|a| self.accepts(a.odds)).map(|a| a.share * a.chance).sum();
            (chance >= FAIR).then_some(Further { kind_of_line, quiet: Micros((seconds * 1e6) as i64), chance })
        })
    }
}

/// The evidence alone carries what it decides.
fn shown(kind: VerdictKind) -> Option<Basis> {
    matches!(kind, VerdictKind::IpAlone | VerdictKind::AddCellular).then_some(Basis::Shown)
}

/// How much longer nothing may go wrong by what was seen so far, seconds, and why; `None`: it stays forbidden.
///
/// A week must be seen, with its load and its renewals: by the watch, or as time that the router had been connected
/// before it, `connected` seconds.
fn barred(e: &Evidence, held: &[Held], connected: f64) -> (Option<f64>, Option<Bar>) {
    let seen = e.observed().secs();
    // A week in which a minute was missed is a week.
    let week = (0.95 * LOOKS.least_watch_met.secs() - seen - connected).max(0.0);
    let mut most = (week, (week > 0.0).then_some(Bar::NoWeek));
    for h in held {
        let (more, bar) = match (h.require.ask, h.measured) {
            (Ask::Coverage { .. }, _) if h.standing != Standing::Met => match h.needs {
                Some(needs) => (needs.secs(), Bar::Unseen),
                None => return (None, Some(Bar::Unseen)),
            },
            // The station's own interval may be longer than a week; nothing over it was seen.
            (Ask::Coverage { .. } | Ask::Supervision { .. }, _) => continue,
            (Ask::Availability { at_least, .. }, Measured::Availability { point, .. }) => {
                (seen * ((1.0 - point) / (1.0 - at_least) - 1.0), Bar::Measured)
            }
            (Ask::Delivery { at_least, .. }, Measured::Delivery(Some(d))) => {
                (seen * (d.best.miss / (1.0 - at_least) - 1.0), Bar::Measured)
            }
            _ => continue,
        };
        if more > most.0 {
            most = (more, Some(bar));
        }
    }
    (Some(most.0), most.1)
}

/// Whether the path is down as the evidence ends.
fn runs_on(e: &Evidence) -> bool {
    e.outages.last().is_some_and(|o| o.to.is_none())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::ask::{Require, RequirementSet};
    use crate::judge::decide::outage::Outage;
    use crate::judge::decide::prior::Access;
    use crate::judge::facts::Moment;

    fn set() -> Vec<Require> {
        let set: RequirementSet =
            toml::from_str(include_str!("../../../config/requirements/household.toml")).expect("ships");
        set.require
    }

    fn ground(access: Option<Access>) -> Ground {
        Ground {
            prior: Prior { access, ..Prior::default() },
            caution: Caution::default(),
            mend: false,
            out_of_scope: false,
            stands: None,
        }
    }

    /// So many days with outages of (start, length) in seconds.
    fn evidence(days: f64, outages: &[(i64, i64)]) -> Evidence {
        let at = |s: i64| Moment(s * 1_000_000);
        let outages = outages.iter().map(|(from, l)| Outage::exact(at(*from), Some(at(from + l))));
        Evidence::new(Micros((days * 86_400e6) as i64), outages.collect())
    }

    fn decided(access: Option<Access>, e: &Evidence) -> Decided {
        let held: Vec<Held> = set().iter().map(|r| r.hold(e)).collect();
        ground(access).decide(e, &held)
    }

    #[test]
    fn a_clean_fibre_week_is_ip_alone_by_odds_and_a_clean_half_year_by_what_was_seen() {
        let d = decided(Some(Access::Fibre), &evidence(7.0, &[]));
        assert_eq!((d.kind, d.choice, d.basis), (VerdictKind::IpAlone, Some(Choice::IpAlone), Some(Basis::Likely)));
        let d = decided(Some(Access::Fibre), &evidence(180.0, &[]));
        assert_eq!((d.kind, d.basis), (VerdictKind::IpAlone, Some(Basis::Shown)));
    }

    #[test]
    fn half_an_hour_has_a_choice_and_says_what_may_turn_it() {
        let fibre = decided(Some(Access::Fibre), &evidence(1.0 / 48.0, &[]));
        assert_eq!((fibre.kind, fibre.choice), (VerdictKind::KeepWatching, Some(Choice::WithCellular)));
        let further = fibre.further.expect("a week may turn it");
        assert!(!further.kind_of_line && (5.0..=14.0).contains(&(further.quiet.secs() / 86_400.0)), "{further:?}");
        assert!(further.chance > 0.6, "{further:?}");
        // DSL: nothing in reach has a fair chance, and the odds are against it.
        let dsl = decided(Some(Access::Dsl), &evidence(1.0 / 48.0, &[]));
        assert_eq!((dsl.kind, dsl.basis, dsl.further), (VerdictKind::AddCellular, Some(Basis::Likely), None));
        // Not known: what kind of line it is would help.
        let unknown = decided(None, &evidence(7.0, &[]));
        assert!(unknown.further.is_none_or(|f| f.kind_of_line), "{unknown:?}");
        assert_eq!(unknown.choice, Some(Choice::WithCellular));
    }

    #[test]
    fn one_short_outage_in_three_minutes_shows_nothing() {
        let d = decided(None, &evidence(180.0 / 86_400.0, &[(60, 82)]));
        assert_ne!(d.basis, Some(Basis::Shown));
        assert!(d.odds.expect("given").misses < 0.95, "{d:?}");
    }

    #[test]
    fn a_measured_failure_is_never_ip_alone() {
        // 143 days with one outage of 70 h, a set of 99 %: down 2 % of the time.
        let e = evidence(143.0, &[(2_000_000, 252_000)]);
        let mut require = set();
        require.retain(|r| !matches!(r.ask, Ask::Supervision { .. }));
        for r in &mut require {
            if let Ask::Availability { at_least, .. } = &mut r.ask {
                *at_least = 0.99;
            }
        }
        for access in [None, Some(Access::Fibre), Some(Access::Satellite)] {
            let held: Vec<Held> = require.iter().map(|r| r.hold(&e)).collect();
            let d = ground(access).decide(&e, &held);
            assert_eq!(d.choice, Some(Choice::WithCellular), "{access:?} {d:?}");
            assert_ne!(d.kind, VerdictKind::IpAlone, "{access:?}");
        }
    }

    #[test]
    fn a_path_that_is_down_now_or_was_hardly_watched_is_not_left_alone() {
        let mut e = evidence(20.0, &[]);
        e.outages.push(Outage::exact(Moment(e.elapsed.0 - 200_000_000), None));
        assert_eq!(decided(Some(Access::Fibre), &e).choice, Some(Choice::WithCellular));
        let mut e = evidence(30.0, &[]);
        e.unseen = vec![(Moment(0), Moment(20 * 86_400_000_000))];
        assert_eq!(decided(Some(Access::Fibre), &e).choice, Some(Choice::WithCellular));
    }

    #[test]
    fn who_is_more_careful_is_told_ip_alone_later() {
        let e = evidence(9.0, &[]);
        let held: Vec<Held> = set().iter().map(|r| r.hold(&e)).collect();
        let with = |r| Ground { caution: Caution(r), ..ground(Some(Access::Fibre)) }.decide(&e, &held).choice;
        assert_eq!((with(3.0), with(99.0)), (Some(Choice::IpAlone), Some(Choice::WithCellular)));
        assert!((Caution::default().most() - 0.1).abs() < 1e-12);
    }

    #[test]
    fn what_no_line_does_is_decided_by_the_evidence_alone() {
        let every: Vec<(i64, i64)> = (0..400).map(|i| (i * 4_000 + 100, 61)).collect();
        let d = decided(Some(Access::Fibre), &evidence(20.0, &every));
        assert!(d.beyond && d.odds.is_none(), "{d:?}");
        assert_eq!((d.kind, d.basis), (VerdictKind::AddCellular, Some(Basis::Shown)));
    }
}
