//! Patterns over days: troubles that follow a clock, an age, a lease, the busy hours or the mains.
//!
//! Works on the starts of what went wrong, before anybody says why, in groups by where it began. A pattern is named only
//! where chance alone would show it less often than `stats::periodicity` allows; what each question may spend is shared
//! between the groups, so that a site without any pattern is told of one less often than stated. Times of day are UTC:
//! a change of daylight saving time splits a cluster.

use crate::judge::facts::Lane;
use crate::judge::facts::{Micros, Moment, WallTime};
use crate::judge::lanes::span::{LaneState, Oddity, Span};
use crate::judge::stats::periodicity::{Cluster, FALSE_ALARM, constant_age, during, lease_fraction, same_time_of_day};

/// Starts within this window of one time of day are "the same minute" (choice: a timer, a boot and a slow probe).
const SAME_MINUTE_S: f64 = 600.0;
/// The busy hours of a line (choice: an evening).
const BUSY_S: f64 = 5.0 * 3_600.0;
/// Ages within this share of each other are one age (choice).
const AGE_TOLERANCE: f64 = 0.02;
/// Within this share of a lease (choice).
const LEASE_WINDOW: f64 = 0.01;
/// A client renews at half the lease, so its age does not grow further while renewals work (RFC 2131 section 4.4.5).
const LEASE_REACH: f64 = 0.5;
/// How long after the mains came or went something counts as following them (choice).
const AFTER_MAINS: Micros = Micros::from_secs(600);
/// Starts closer together than this are one piece of evidence (choice).
const APART: Micros = Micros::from_secs(1_800);
/// Most starts looked at: the latest.
const MOST: usize = 400;

/// What the troubles follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Follows {
    /// The same minutes of the day.
    Minute,
    /// The same hours of the day.
    Hours,
    /// An age since the trouble before.
    Age,
    /// A moment of the lease.
    Lease,
    /// The mains' coming and going.
    Mains,
}

/// Where the troubles began.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// The lead or the router.
    Home,
    /// Beyond the router.
    Line,
    /// Slow or lossy beyond the router.
    Load,
}

/// A pattern found.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    /// Where they began.
    pub place: Place,
    /// What they follow.
    pub follows: Follows,
    /// How many of how many, where, and what chance says of it. For times of day seconds after midnight UTC.
    pub cluster: Cluster,
    /// Starts of those in it.
    pub members: Vec<Moment>,
}

/// What the search for patterns needs beside the starts.
pub struct Days<'a> {
    /// Wall time at the axis's zero.
    pub zero: Option<WallTime>,
    /// Spans of mains lost.
    pub mains: &'a [Span],
    /// The lease's age at a moment.
    pub lease_age: &'a dyn Fn(Moment) -> Option<f64>,
    /// Time watched.
    pub watched: Micros,
}

/// The group a span belongs to, if any.
pub fn place(span: &Span) -> Option<Place> {
    if span.from_first_look {
        return None;
    }
    match (span.lane, &span.oddity) {
        (Lane::Link, Oddity::CarrierLost { .. }) | (Lane::Router, Oddity::Silent) => Some(Place::Home),
        (Lane::Outside, Oddity::Silent) => Some(Place::Line),
        (Lane::Outside, Oddity::LossBurst | Oddity::Slow { .. }) => Some(Place::Load),
        (Lane::Address, o) if o.state() == LaneState::Bad => Some(Place::Home),
        _ => None,
    }
}

/// Spans of one place: all their starts, and start and end of those that are evidence of their own.
struct Group {
    place: Place,
    every: Vec<Moment>,
    apart: Vec<(Moment, Moment)>,
}

impl Group {
    fn of(place: Place, roots: &[&Span]) -> Self {
        let mut apart: Vec<(Moment, Moment)> = roots
            .iter()
            .filter(|s| self::place(s) == Some(place))
            .map(|s| (s.start.midpoint(), s.end.unwrap_or(s.start).midpoint()))
            .collect();
        apart.sort_unstable();
        let every = apart.iter().map(|(start, _)| *start).collect();
        apart.dedup_by(|next, before| next.0 - before.0 < APART);
        apart.drain(..apart.len().saturating_sub(MOST));
        Self { place, every, apart }
    }

    /// Starts of those apart for which this holds, by their number.
    fn members(&self, is_in: impl Fn(usize) -> bool) -> Vec<Moment> {
        (0..self.apart.len()).filter(|i| is_in(*i)).map(|i| self.apart[i].0).collect()
    }
}

/// Patterns among the spans that began something.
pub fn patterns(roots: &[&Span], days: &Days<'_>) -> Vec<Pattern> {
    let groups: Vec<Group> = [Place::Home, Place::Line, Place::Load]
        .into_iter()
        .map(|which| Group::of(which, roots))
        .filter(|g| g.apart.len() >= 3)
        .collect();
    let allowed = FALSE_ALARM / groups.len().max(1) as f64;
    let mut out = Vec::new();
    for group in &groups {
        let found = |c: &Cluster| c.count >= 3 && c.false_alarm <= allowed;
        let by_clock = days.zero.and_then(|zero| time_of_day(group, zero)).filter(|p| found(&p.cluster));
        let has_clock = by_clock.is_some();
        out.extend(by_clock);
        let mut note = |follows, cluster: Option<Cluster>, members: &dyn Fn(&Cluster) -> Vec<Moment>| {
            if let Some(cluster) = cluster.filter(found) {
                out.push(Pattern { place: group.place, follows, members: members(&cluster), cluster });
            }
        };
        if group.place == Place::Home {
            // What comes each night comes at one age as well: the clock says it better.
            if !has_clock {
                let ages: Vec<f64> = group.apart.windows(2).map(|w| (w[1].0 - w[0].1).secs()).collect();
                note(Follows::Age, constant_age(&ages, AGE_TOLERANCE), &|c| {
                    group.members(|i| i > 0 && (c.from..=c.to).contains(&ages[i - 1]))
                });
            }
            let lease: Vec<Option<f64>> = group.apart.iter().map(|(s, _)| (days.lease_age)(*s)).collect();
            let known: Vec<f64> = lease.iter().copied().flatten().collect();
            if known.len() >= 3 {
                note(Follows::Lease, lease_fraction(&known, LEASE_WINDOW, LEASE_REACH), &|c| {
                    group.members(|i| lease[i].is_some_and(|f| (c.from..=c.to).contains(&f)))
                });
            }
        }
        let blips: Vec<(Moment, Moment)> =
            days.mains.iter().map(|s| (s.start.earliest, s.end.map_or(s.start.latest, |e| e.latest))).collect();
        let inside =
            |i: usize| blips.iter().any(|(a, b)| *a <= group.apart[i].0 && group.apart[i].0 <= *b + AFTER_MAINS);
        let taken: f64 = blips.iter().map(|(a, b)| (*b - *a + AFTER_MAINS).secs()).sum();
        let count = (0..group.apart.len()).filter(|i| inside(*i)).count();
        let share = taken / days.watched.secs().max(1.0);
        note(Follows::Mains, during(count, group.apart.len(), share), &|_| group.members(inside));
    }
    out
}

/// The fullest window of one time of day. Faults follow a timer to the minute; load follows people by the hour.
fn time_of_day(group: &Group, WallTime(zero): WallTime) -> Option<Pattern> {
    let (follows, window) =
        if group.place == Place::Load { (Follows::Hours, BUSY_S) } else { (Follows::Minute, SAME_MINUTE_S) };
    let wall = |m: Moment| m.0.saturating_add(zero) as f64 / 1e6;
    let starts: Vec<f64> = group.apart.iter().map(|(s, _)| wall(*s)).collect();
    let cluster = same_time_of_day(&starts, window)?;
    let wide = (cluster.to - cluster.from).rem_euclid(DAY);
    // A hair's breadth wider: the ends are members themselves, whatever the floats say.
    let is_in = |m: &Moment| (wall(*m) - cluster.from + 1e-3).rem_euclid(DAY) <= wide + 2e-3;
    let members = group.every.iter().copied().filter(is_in).collect();
    Some(Pattern { place: group.place, follows, cluster, members })
}

/// Seconds in a day.
const DAY: f64 = 86_400.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::facts::Edge;
    use crate::judge::stats::testing::Lcg;

    fn span(lane: Lane, at: f64) -> Span {
        let m = |s: f64| Moment((s * 1e6) as i64);
        let mut s = Span::new(lane, Oddity::Silent, Edge::exact(m(at)));
        s.end = Some(Edge::exact(m(at + 90.0)));
        s
    }

    fn found(spans: &[Span], mains: &[Span], lease_age: &dyn Fn(Moment) -> Option<f64>) -> Vec<(Place, Follows)> {
        let roots: Vec<&Span> = spans.iter().collect();
        let watched = Micros::from_secs(30 * 86_400);
        let days = Days { zero: Some(WallTime(0)), mains, lease_age, watched };
        patterns(&roots, &days).iter().map(|p| (p.place, p.follows)).collect()
    }

    #[test]
    fn each_pattern_is_found_where_it_is() {
        let nightly: Vec<Span> = (0..6).map(|d| span(Lane::Router, f64::from(d) * DAY + 11_100.0)).collect();
        // A nightly restart comes at a constant age as well; the clock says it better.
        assert_eq!(found(&nightly, &[], &|_| None), [(Place::Home, Follows::Minute)]);
        let mut at = 0.0;
        let hangs: Vec<Span> = (0..6)
            .map(|_| {
                at += 140_000.0;
                span(Lane::Router, at)
            })
            .collect();
        assert_eq!(found(&hangs, &[], &|_| None), [(Place::Home, Follows::Age)]);
        let odd: Vec<Span> = [3.1, 8.7, 12.2, 20.9].map(|d| span(Lane::Outside, d * DAY)).to_vec();
        assert_eq!(found(&odd, &[], &|_| None), []);
        let blips: Vec<Span> =
            odd.iter().map(|s| Span { lane: Lane::Power, oddity: Oddity::MainsLost, ..s.clone() }).collect();
        assert_eq!(found(&odd, &blips, &|_| None), [(Place::Line, Follows::Mains)]);
        let home: Vec<Span> = odd.iter().map(|s| Span { lane: Lane::Router, ..s.clone() }).collect();
        assert_eq!(found(&home, &[], &|_| Some(0.5)), [(Place::Home, Follows::Lease)]);
        let evenings: Vec<Span> = (0..8)
            .map(|d| Span {
                oddity: Oddity::LossBurst,
                ..span(Lane::Outside, f64::from(d) * DAY + 68_000.0 + f64::from(d % 3) * 2_000.0)
            })
            .collect();
        assert_eq!(found(&evenings, &[], &|_| None), [(Place::Load, Follows::Hours)]);
        // Three losses within ten minutes are one piece of evidence: two nights of them are two.
        let twice = (0..6).map(|n| span(Lane::Router, f64::from(n / 3) * DAY + 11_100.0 + f64::from(n % 3) * 200.0));
        assert_eq!(found(&twice.collect::<Vec<_>>(), &[], &|_| None), []);
    }

    #[test]
    fn random_histories_show_a_pattern_less_often_than_stated() {
        // Three groups at once, a month each, no pattern in any: each question may err one site in a hundred.
        const SITES: u32 = 1_500;
        let mut draw = Lcg(77);
        let mut wrong = std::collections::BTreeMap::new();
        for _ in 0..SITES {
            let mut spans = Vec::new();
            for (lane, oddity) in
                [(Lane::Router, Oddity::Silent), (Lane::Outside, Oddity::Silent), (Lane::Outside, Oddity::LossBurst)]
            {
                let mean = DAY * (0.3 + 5.0 * draw.uniform());
                let mut at = draw.exponential(mean);
                while at < 30.0 * DAY {
                    spans.push(Span { oddity: oddity.clone(), ..span(lane, at) });
                    at += draw.exponential(mean);
                }
            }
            let blips: Vec<Span> = (0..3)
                .map(|_| Span { oddity: Oddity::MainsLost, ..span(Lane::Power, draw.uniform() * 30.0 * DAY) })
                .collect();
            // The lease: renewed each twelve hours, so its age is a half at most.
            let age = |m: Moment| Some((m.secs() % 43_200.0) / 86_400.0);
            let mut kinds: Vec<Follows> = found(&spans, &blips, &age).into_iter().map(|(_, f)| f).collect();
            kinds.dedup();
            for k in kinds {
                *wrong.entry(k).or_insert(0u32) += 1;
            }
        }
        // Four standard errors of 1500 sites at one in a hundred: 0.0103.
        let most = (FALSE_ALARM + 4.0 * 0.0026) * f64::from(SITES);
        assert!(wrong.values().all(|n| f64::from(*n) <= most), "{wrong:?} of {SITES}");
    }
}
