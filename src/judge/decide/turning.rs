//! What could turn the verdict: the shortest further observation that would make it another one.
//!
//! Decides two figures: how much longer a watch in which nothing goes wrong must be, and how long one more outage, next,
//! would have to last. Both are found by holding the same requirements, by the same rule, against evidence to which that
//! was added; so they say what the program would answer, not what is likely to happen.

use crate::judge::decide::choice::Ground;
use crate::judge::decide::outage::{Outage, Reading};
use crate::judge::decide::requirement::{Evidence, Held, Require};
use crate::judge::decide::verdict::{Judgement, VerdictKind};
use crate::judge::facts::{Edge, Micros};

/// The shortest watch and the shortest outage tried (choice).
const LEAST: Micros = Micros::from_secs(10);
/// The longest watch tried: past ten years nobody waits (choice).
const LONGEST_WATCH: Micros = Micros::from_secs(10 * 365 * 86_400);
/// The longest outage tried: a month (choice).
const LONGEST_OUTAGE: Micros = Micros::from_secs(30 * 86_400);
/// How near to the border the search ends, as a ratio (choice: figures are told in words).
const NEAR: f64 = 1.05;

/// What could turn a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turning {
    /// Watching on without an outage: how long, and what the verdict would then be.
    pub quiet: Option<(Micros, VerdictKind)>,
    /// One more outage, next: how long it would have to last, and what the verdict would then be.
    pub outage: Option<(Micros, VerdictKind)>,
}

/// What could turn this one; `None` where nothing was watched or nothing is required. For `mend-first` it is about the
/// time after the mending.
pub fn turning(j: &Judgement, require: &[Require]) -> Option<Turning> {
    if require.is_empty() || j.look.observed == Micros::ZERO {
        return None;
    }
    let ground = Ground { mend: false, ..j.ground };
    let told = |e: &Evidence| {
        let held: Vec<Held> = require.iter().map(|r| r.hold_only(e)).collect();
        ground.decide_only(e, &held).kind
    };
    let now = told(&j.evidence);
    let quiet = match (j.kind, now) {
        (VerdictKind::MendFirst, VerdictKind::IpAlone) => Some((Micros::ZERO, VerdictKind::IpAlone)),
        // What was searched for already.
        (VerdictKind::KeepWatching, _) if j.decided.further.is_some_and(|f| !f.kind_of_line) => {
            j.needs.map(|n| (n, VerdictKind::IpAlone))
        }
        (_, VerdictKind::IpAlone) => None,
        _ => shortest(LONGEST_WATCH, |x| {
            let kind = told(&watched_on(&j.evidence, x));
            (kind != now).then_some(kind)
        }),
    };
    let outage = match now {
        _ if j.kind == VerdictKind::AddCellular => None,
        VerdictKind::AddCellular => None,
        _ => shortest(LONGEST_OUTAGE, |x| {
            let kind = told(&with_outage(&j.evidence, x));
            let worse = kind == VerdictKind::AddCellular || now == VerdictKind::IpAlone;
            (kind != now && worse).then_some(kind)
        }),
    };
    Some(Turning { quiet, outage })
}

/// The evidence with so much more watching in which nothing went wrong: an outage still running ends now.
fn watched_on(e: &Evidence, more: Micros) -> Evidence {
    let now = e.now();
    let ended = e.outages.iter().map(|o| Outage { to: o.to.or(Some(Edge::exact(now))), ..*o }).collect();
    Evidence { elapsed: e.elapsed + more, outages: ended, ..e.clone() }
}

/// The evidence with one more outage, from now on for so long; one still running goes on for so long.
fn with_outage(e: &Evidence, length: Micros) -> Evidence {
    let now = e.now();
    let mut longer = Evidence { elapsed: e.elapsed + length, ..e.clone() };
    let runs_on = e.outages.iter().any(|o| o.to.is_none() || o.span(Reading::Middle, now).1 >= now);
    if !runs_on {
        longer.outages.push(Outage::exact(now, Some(now + length)));
    }
    longer
}

/// The least length at which `told` says something, to within [`NEAR`], and what it says there.
fn shortest(most: Micros, told: impl Fn(Micros) -> Option<VerdictKind>) -> Option<(Micros, VerdictKind)> {
    let (mut low, mut high) = (0.0, LEAST.secs());
    let length = |s: f64| Micros((s * 1e6) as i64);
    let mut kind = loop {
        if let Some(kind) = told(length(high)) {
            break kind;
        }
        if high >= most.secs() {
            return None;
        }
        (low, high) = (high, (high * 4.0).min(most.secs()));
    };
    while high > low * NEAR && high - low > 1.0 {
        let middle = if low > 0.0 { (low * high).sqrt() } else { high / 2.0 };
        match told(length(middle)) {
            Some(k) => (high, kind) = (middle, k),
            None => low = middle,
        }
    }
    Some((length(high), kind))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::requirement::Ask;
    use crate::judge::{Access, Judge, Known, Lane, Moment, Settings};

    fn require(ask: Ask) -> Require {
        Require { name: "r".into(), ask, source: "test".into(), tag: "choice".into() }
    }

    fn judged(
        access: Option<Access>,
        days: i64,
        outages: &[(i64, i64)],
        require: &[Require],
    ) -> (Judgement, Option<Turning>) {
        let settings = Settings {
            receivers: std::collections::BTreeSet::new(),
            tls_receivers: std::collections::BTreeSet::new(),
            patience: Micros::from_secs(2),
            cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
            supervision: None,
            requirements: crate::judge::decide::ask::RequirementSet {
                name: "t".into(),
                words: String::new(),
                require: require.to_vec(),
            },
            out_of_scope: Vec::new(),
            known: Known::default(),
        };
        let mut j = Judge::new(settings).judgement();
        let at = |s| Moment(s * 1_000_000);
        let outages = outages.iter().map(|(from, l)| Outage::exact(at(*from), Some(at(from + l)))).collect();
        j.evidence = Evidence::new(Micros::from_secs(days * 86_400), outages);
        j.look.observed = j.evidence.observed();
        let held: Vec<_> = require.iter().map(|r| r.hold(&j.evidence)).collect();
        j.ground.prior.access = access;
        j.decided = j.ground.decide(&j.evidence, &held);
        j.kind = j.decided.kind;
        j.needs = j.decided.further.map(|f| f.quiet);
        let t = turning(&j, require);
        (j, t)
    }

    #[test]
    fn what_it_says_is_what_the_judge_then_says() {
        let both = [
            require(Ask::Availability { at_least: 0.995, sure: 0.95 }),
            require(Ask::LongOutages { longer_than_s: 3_600.0, at_most: 1.0, per_days: 30.0, sure: 0.9 }),
        ];
        let (mut quiet, mut outages) = (0, 0);
        let known = [None, Some(Access::Fibre), Some(Access::Cable)];
        for (access, days, seen) in known.iter().flat_map(|a| {
            [
                (a, 132, &[][..]),
                (a, 80, &[][..]),
                (a, 6, &[][..]),
                (a, 60, &[(1_000_000, 60)][..]),
                (
                    a,
                    20,
                    &[(100_000, 30_000), (300_000, 30_000), (500_000, 30_000), (800_000, 30_000), (1_200_000, 30_000)]
                        [..],
                ),
            ]
        }) {
            let (j, t) = judged(*access, days, seen, &both);
            let t = t.expect("watched");
            let told = |e: &Evidence| {
                let held: Vec<Held> = both.iter().map(|r| r.hold_only(e)).collect();
                j.ground.decide_only(e, &held).kind
            };
            if let Some((more, kind)) = t.quiet {
                let rather = Micros((more.secs() * 1.001 * 1e6) as i64);
                assert_eq!(told(&watched_on(&j.evidence, rather)), kind, "{days}");
                if j.kind != VerdictKind::KeepWatching {
                    // Days for that are tried on a coarse scale; others to one in twenty.
                    assert_ne!(
                        told(&watched_on(&j.evidence, Micros((more.secs() / 1.1 * 1e6) as i64))),
                        kind,
                        "{days}"
                    );
                }
                quiet += 1;
            }
            if let Some((length, kind)) = t.outage {
                assert_eq!(told(&with_outage(&j.evidence, length)), kind, "{days}");
                let less = Micros((length.secs() / 1.1 * 1e6) as i64);
                assert_ne!(told(&with_outage(&j.evidence, less)), kind, "{days}");
                outages += 1;
            }
        }
        assert!(quiet >= 1 && outages >= 1, "{quiet} {outages}");
    }

    #[test]
    fn an_outage_over_the_interval_is_turned_by_no_quiet() {
        let interval = [require(Ask::Supervision { interval_s: 200.0 })];
        let (j, t) = judged(None, 30, &[(1_000, 300)], &interval);
        assert_eq!((j.kind, t), (VerdictKind::AddCellular, Some(Turning { quiet: None, outage: None })));
        let (j, t) = judged(None, 30, &[(1_000, 100)], &interval);
        let (length, kind) = t.expect("watched").outage.expect("one would");
        assert_eq!((j.kind, kind), (VerdictKind::IpAlone, VerdictKind::AddCellular));
        assert!((200.0..=211.0).contains(&length.secs()), "{length}");
    }

    #[test]
    fn with_nothing_watched_or_asked_nothing_is_said() {
        assert_eq!(judged(None, 30, &[], &[]).1, None);
        assert_eq!(judged(None, 0, &[], &[require(Ask::Supervision { interval_s: 200.0 })]).1, None);
    }
}
