//! Does trouble follow a clock? Same minute of day, constant age, fraction of a lease.
//!
//! Decides whether outages cluster on a clock more than chance would make them, with an upper bound on how often
//! chance alone would do so (the false alarm). Each test is a scan with a union bound over where the cluster could
//! start, so the bound holds at any sample size, for outages that would otherwise come at random; a busy hour that
//! makes outages likelier by a factor f weakens it by up to f^(count-1). Does not decide the cause. Sources: scan
//! statistics, union (Bonferroni) bound, order statistics by [FELLER68] (from memory).

use super::special::{beta_cdf, gauss_legendre};

/// Chance of a false alarm allowed to each of the three questions, per site and survey; together at most three times.
pub const FALSE_ALARM: f64 = 0.01;

/// Seconds in a day.
const DAY: f64 = 86_400.0;

/// A cluster and what chance says of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cluster {
    /// Outages in the cluster.
    pub count: usize,
    /// Of how many.
    pub of: usize,
    /// Where it begins: seconds after midnight, seconds of age, or fraction of the lease.
    pub from: f64,
    /// Where it ends, same unit; may wrap past midnight.
    pub to: f64,
    /// Upper bound on the probability that chance alone gives such a cluster anywhere.
    pub false_alarm: f64,
}

impl Cluster {}

/// P(at least `k` of `n` independent events of chance `p`): the regularized beta function at k, n-k+1.
fn at_least(k: usize, n: usize, p: f64) -> f64 {
    match k {
        0 => 1.0,
        k if k > n => 0.0,
        _ => beta_cdf(k as f64, (n - k + 1) as f64, p),
    }
}

/// Outages starting within `window` seconds of one time of day, on different days.
///
/// `starts` are seconds since any midnight, in the clock the site lives by. The fullest window by distinct days is
/// taken; false alarm at most n · P(Bin(n-1, window/day) >= count-1). `None` with fewer than two outages.
pub fn same_time_of_day(starts: &[f64], window: f64) -> Option<Cluster> {
    let n = starts.len();
    if n < 2 || window <= 0.0 {
        return None;
    }
    let mut phases: Vec<(f64, i64)> = starts.iter().map(|t| (t.rem_euclid(DAY), t.div_euclid(DAY) as i64)).collect();
    phases.sort_by(|a, b| a.0.total_cmp(&b.0));
    let best = (0..n)
        .map(|first| {
            // Outages of one day in one window count once: they are one piece of evidence.
            let mut days: Vec<i64> = Vec::new();
            let (mut last, mut furthest) = (phases[first].0, 0.0);
            for step in 0..n {
                let (phase, day) = phases[(first + step) % n];
                let ahead = (phase - phases[first].0).rem_euclid(DAY);
                if ahead > window {
                    break;
                }
                // Round the clock the equals of the first come last.
                if ahead > furthest {
                    (last, furthest) = (phase, ahead);
                }
                if !days.contains(&day) {
                    days.push(day);
                }
            }
            (days.len(), phases[first].0, last)
        })
        .max_by_key(|best| best.0)?;
    let chance = n as f64 * at_least(best.0 - 1, n - 1, (window / DAY).min(1.0));
    Some(Cluster { count: best.0, of: n, from: best.1, to: best.2, false_alarm: chance.min(1.0) })
}

/// Outages coming at one age, such as a router that hangs after so many hours.
///
/// `ages` are seconds since the last restart (or last outage). Looks for a cluster within a factor 1 + `tolerance`.
/// Chance: ages without memory (exponential, of any mean). Then the count of the other ages within the factor of
/// one age has a law free of the mean, and false alarm is at most
/// n ∫ P(Bin(n-1, u - u^(1+tolerance)) >= count-1) du over 0..1. A pair is never a finding.
/// `None` with fewer than three ages.
pub fn constant_age(ages: &[f64], tolerance: f64) -> Option<Cluster> {
    let mut sorted: Vec<f64> = ages.iter().copied().filter(|a| *a > 0.0).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    if n < 3 || tolerance <= 0.0 {
        return None;
    }
    let (count, first) = (0..n)
        .map(|i| (sorted[i..].iter().take_while(|a| **a <= sorted[i] * (1.0 + tolerance)).count(), i))
        .max_by_key(|best| best.0)?;
    let chance: f64 =
        gauss_legendre(64).into_iter().map(|(u, w)| w * at_least(count - 1, n - 1, u - u.powf(1.0 + tolerance))).sum();
    let false_alarm = if count < 3 { 1.0 } else { (n as f64 * chance).min(1.0) };
    Some(Cluster { count, of: n, from: sorted[first], to: sorted[first + count - 1], false_alarm })
}

/// The moments of a lease at which a client acts: T1, T2 and the end (RFC 2131 section 4.4.5: 0.5, 0.875, 1).
pub const LEASE_MOMENTS: [f64; 3] = [0.5, 0.875, 1.0];

/// Outages coming at one of the [`LEASE_MOMENTS`], within ± `window` of the lease.
///
/// `fractions` are the lease's age at each outage over the lease time; `reach` the fraction the age gets to while
/// renewals work (0.5 if the client renews at T1). Chance: any age up to `reach` alike, and no more than its width
/// beyond. False alarm at most 3 · P(Bin(n, chance of the window) >= count). `None` without an outage.
pub fn lease_fraction(fractions: &[f64], window: f64, reach: f64) -> Option<Cluster> {
    let n = fractions.len();
    if n == 0 || window <= 0.0 || reach <= 0.0 {
        return None;
    }
    LEASE_MOMENTS
        .into_iter()
        .map(|moment| {
            let (from, to) = (moment - window, moment + window);
            let count = fractions.iter().filter(|f| (from..=to).contains(*f)).count();
            let inside = ((to.min(reach) - from.max(0.0)).max(0.0) / reach).max(2.0 * window).min(1.0);
            let false_alarm = (LEASE_MOMENTS.len() as f64 * at_least(count, n, inside)).min(1.0);
            Cluster { count, of: n, from, to, false_alarm }
        })
        .min_by(|a, b| a.false_alarm.total_cmp(&b.false_alarm))
}

/// Outages that began while something else was going on, such as the minutes after a loss of the mains.
///
/// `share` is the share of the watched time that this takes. False alarm at most P(Bin(n, share) >= inside) for outages
/// that come at random; two are never a finding. `None` without an outage.
pub fn during(inside: usize, n: usize, share: f64) -> Option<Cluster> {
    if n == 0 || inside > n {
        return None;
    }
    let false_alarm = if inside < 3 { 1.0 } else { at_least(inside, n, share.clamp(0.0, 1.0)) };
    Some(Cluster { count: inside, of: n, from: 0.0, to: share, false_alarm })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Lcg, close};
    use super::*;

    impl Cluster {
        fn is_finding(self) -> bool {
            self.false_alarm < FALSE_ALARM
        }
    }

    #[test]
    fn tails_are_the_binomial_ones() {
        close(at_least(2, 3, 0.5), 0.5, 1e-12);
        close(at_least(3, 3, 0.1), 1e-3, 1e-12);
        close(at_least(0, 3, 0.1), 1.0, 1e-12);
        assert!(at_least(4, 3, 0.1) < f64::MIN_POSITIVE);
    }

    #[test]
    fn a_nightly_restart_is_found_and_three_outages_at_random_are_not() {
        // 03:10 on four nights of a week, a few minutes apart, and two other outages.
        let hm = |day: f64, h: f64, m: f64| day * DAY + h * 3600.0 + m * 60.0;
        let week = [
            hm(0.0, 3.0, 10.0),
            hm(1.0, 3.0, 12.0),
            hm(2.0, 15.0, 0.0),
            hm(3.0, 3.0, 9.0),
            hm(5.0, 3.0, 11.0),
            hm(6.0, 20.0, 30.0),
        ];
        let c = same_time_of_day(&week, 600.0).expect("outages");
        assert_eq!((c.count, c.of), (4, 6));
        assert!(c.is_finding() && c.false_alarm < 1e-4);
        close(c.from, hm(0.0, 3.0, 9.0), 1e-12);
        // Around midnight too.
        let late = [hm(0.0, 23.0, 58.0), hm(2.0, 0.0, 1.0), hm(3.0, 0.0, 2.0), hm(4.0, 23.0, 59.0)];
        assert!(same_time_of_day(&late, 600.0).expect("outages").is_finding());
        // Equal ones and one a little later: the window ends with the later, wherever the count begins.
        let equal = [0.0, 1.0, 2.0, 3.0].map(|d| hm(d, 3.0, 10.0) + if d > 0.0 { 0.0 } else { 15.0 });
        let c = same_time_of_day(&equal, 600.0).expect("outages");
        assert_eq!((c.count, c.from, c.to), (4, hm(0.0, 3.0, 10.0), hm(0.0, 3.0, 10.0) + 15.0));
        // Four outages of one night are one piece of evidence.
        let one_night = [hm(0.0, 3.0, 1.0), hm(0.0, 3.0, 3.0), hm(0.0, 3.0, 5.0), hm(0.0, 3.0, 8.0)];
        assert!(!same_time_of_day(&one_night, 600.0).expect("outages").is_finding());
        assert_eq!(same_time_of_day(&[5.0], 600.0), None);
    }

    #[test]
    fn a_router_that_hangs_daily_is_found() {
        let ages = [86_000.0, 86_900.0, 12_000.0, 86_400.0, 85_800.0];
        let c = constant_age(&ages, 0.02).expect("ages");
        assert_eq!(c.count, 4);
        assert!(c.is_finding());
        assert!(!constant_age(&[80_000.0, 12_000.0, 300.0, 85_000.0], 0.02).expect("ages").is_finding());
        assert_eq!(constant_age(&[1.0, 1.0], 0.02), None);
    }

    #[test]
    fn outages_at_half_the_lease_are_found() {
        let c = lease_fraction(&[0.501, 0.499, 0.5, 0.13], 0.01, 1.0).expect("outages");
        assert_eq!(c.count, 3);
        assert!(c.is_finding());
        assert!(!lease_fraction(&[0.501, 0.2, 0.7], 0.01, 1.0).expect("outages").is_finding());
        assert_eq!(lease_fraction(&[], 0.01, 1.0), None);
    }

    #[test]
    fn false_alarms_stay_under_their_rate() {
        // 3000 seeded sites for each question and each number of outages, none of them periodic.
        const SITES: u32 = 3000;
        for n in [3, 5, 8, 20, 60] {
            let mut draw = Lcg(1000 + n as u64);
            let (mut day, mut age, mut lease, mut loose) = (0, 0, 0, 0);
            for _ in 0..SITES {
                let starts: Vec<f64> = (0..n).map(|_| draw.uniform() * 30.0 * DAY).collect();
                let cluster = same_time_of_day(&starts, 600.0).expect("outages");
                day += u32::from(cluster.is_finding());
                loose += u32::from(cluster.false_alarm <= 0.2);
                let mean = 1e3 + draw.uniform() * 1e6;
                let ages: Vec<f64> = (0..n).map(|_| draw.exponential(mean)).collect();
                age += u32::from(constant_age(&ages, 0.05).expect("ages").is_finding());
                let fractions: Vec<f64> = (0..n).map(|_| draw.uniform() * 0.5).collect();
                lease += u32::from(lease_fraction(&fractions, 0.01, 0.5).expect("outages").is_finding());
            }
            // FALSE_ALARM plus four standard errors of 3000 sites (0.0018 each).
            let most = (FALSE_ALARM + 4.0 * 0.0018) * f64::from(SITES);
            for (what, found) in [("day", day), ("age", age), ("lease", lease)] {
                assert!(f64::from(found) <= most, "{what}: {found} of {SITES} at n = {n}");
            }
            // The bound holds at another level too (four standard errors of 0.0073).
            assert!(f64::from(loose) <= (0.2 + 0.03) * f64::from(SITES), "{loose} at n = {n}");
        }
    }
}
