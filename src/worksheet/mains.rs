//! Hours a year the network gear is without power, from interruption indices, ride-through and restart time.
//!
//! Model: sustained interruptions come as a Poisson process with rate SAIFI; their lengths T are lognormal with mean
//! CAIDI and a log spread of 1.5 (fits to US events [USOUT16] and one indicative British figure
//! [GBTIC05], [OFGEM67], derived). The path
//! fails once T outlasts the shorter of the site's ride-through and what the provider's street equipment holds, L, and
//! carries again a restart time R after mains returns: it is down T - L + R. Momentary interruptions restart gear that
//! has no backup at all and are forgiven otherwise. So the mean is
//! SAIFI (E[(T - L)+] + R P(T > L)) + (L = 0 ? MAIFI R : 0), in closed form; a single year's spread comes from the
//! compound Poisson sum (from memory) [PANJER81]. Backups are taken as full again each time.

use super::indices::Indices;
use super::units::{Hours, PerYear};
use crate::judge::stats::special::normal_cdf;

/// Log spread of interruption lengths (derived: 1.46, 1.41 and 1.49 of US events of 2000 to 2016 [USOUT16], 1.5 of
/// British ones [GBTIC05], [OFGEM67]).
pub const SIGMA: f64 = 1.5;
/// Restart time where nobody measured one (choice: 5 min for an optical terminal is common practice, no source;
/// 60 s are asked of a gateway [TR124]).
pub const RESTART: Hours = Hours::minutes(5.0);

/// Probability that a watch of so many days sees a sustained interruption at all: 1 - exp(-SAIFI x days / 365.25).
pub fn seen_within(saifi: PerYear, days: f64) -> f64 {
    -(-saifi.get() * days / 365.25).exp_m1()
}

/// Lognormal lengths of interruptions, in hours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lengths {
    mu: f64,
}

impl Lengths {
    /// With this mean.
    pub fn with_mean(caidi: Hours) -> Self {
        Self { mu: caidi.get().ln() - SIGMA * SIGMA / 2.0 }
    }

    /// The middle length.
    pub fn median(self) -> Hours {
        Hours::of(self.mu.exp())
    }

    /// P(T > t).
    pub fn longer(self, t: Hours) -> f64 {
        if t.get() <= 0.0 {
            return 1.0;
        }
        // The lower tail of the mirrored variable keeps its digits where the upper one would not.
        normal_cdf((self.mu - t.get().ln()) / SIGMA)
    }

    /// E[(T - t)+]: what is left beyond t, over all interruptions.
    pub fn beyond(self, t: Hours) -> Hours {
        let mean = (self.mu + SIGMA * SIGMA / 2.0).exp();
        if t.get() <= 0.0 {
            return Hours::of(mean);
        }
        if t.get().is_infinite() {
            return Hours::of(0.0);
        }
        let d = (self.mu - t.get().ln()) / SIGMA;
        Hours::of((mean * normal_cdf(d + SIGMA) - t.get() * normal_cdf(d)).max(0.0))
    }
}

/// What the outlook is worked out from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Case {
    /// How often and how long mains fails.
    pub indices: Indices,
    /// Momentary interruptions a year.
    pub momentary: PerYear,
    /// How long the site's gear works without mains.
    pub ride_through: Hours,
    /// How long it takes to carry again.
    pub restart: Hours,
    /// How long the provider's street equipment works without mains; `None`: taken never to be what fails first.
    pub street: Option<Hours>,
}

impl Case {
    /// What fails first: the site's gear or the street.
    pub fn limit(&self) -> Hours {
        self.street.map_or(self.ride_through, |s| s.min(self.ride_through))
    }

    /// Whether the street decides: a bigger battery would remove nothing.
    pub fn street_decides(&self) -> bool {
        self.street.is_some_and(|s| s <= self.ride_through)
    }

    fn lengths(&self) -> Lengths {
        Lengths::with_mean(self.indices.caidi)
    }

    /// Momentary interruptions that stop the path.
    fn momentary_that_count(&self) -> f64 {
        if self.ride_through.get() > 0.0 { 0.0 } else { self.momentary.get() }
    }

    /// Times a year the path fails for want of power.
    pub fn failures(&self) -> PerYear {
        PerYear::of(self.indices.saifi.get() * self.lengths().longer(self.limit()) + self.momentary_that_count())
    }

    /// Hours a year to expect.
    pub fn expected(&self) -> Hours {
        let (lengths, limit) = (self.lengths(), self.limit());
        let each = lengths.beyond(limit) + self.restart.times(lengths.longer(limit));
        each.times(self.indices.saifi.get()) + self.restart.times(self.momentary_that_count())
    }

    /// Probability of a year without a single failure for want of power.
    pub fn chance_of_none(&self) -> f64 {
        (-self.failures().get()).exp()
    }

    /// The same case with another ride-through.
    pub fn riding(&self, ride_through: Hours) -> Self {
        Self { ride_through, ..*self }
    }

    /// Share of the expected hours that a ride-through of so long would remove.
    pub fn removed_by(&self, ride_through: Hours) -> f64 {
        let now = self.expected().get();
        if now <= 0.0 {
            return 0.0;
        }
        1.0 - self.riding(ride_through.max(self.ride_through)).expected().get() / now
    }

    /// Share that no battery removes, because the street fails first; nothing where the street is not known to.
    pub fn beyond_any_battery(&self) -> f64 {
        1.0 - self.removed_by(Hours::of(f64::INFINITY))
    }

    /// Hours in one year that so many years of a hundred do not exceed, to a sixtieth of the mean.
    pub fn in_a_year(&self, percent: f64) -> Hours {
        let (rate, mean) = (self.failures().get(), self.expected().get());
        if rate <= 0.0 || mean <= 0.0 {
            return Hours::of(0.0);
        }
        let step = mean / 60.0;
        // Markov: a sum exceeds 25 times its mean in at most 4 of 100 years; nobody is asked about fewer.
        let cells = 60 * 25;
        let length = self.one_failure(step, cells);
        let mut year = Vec::with_capacity(cells);
        year.push((-rate * (1.0 - length[0])).exp());
        let (mut sum, target) = (year[0], percent / 100.0);
        while sum < target && year.len() < cells {
            let n = year.len();
            let next = (1..=n).map(|j| j as f64 * length[j] * year[n - j]).sum::<f64>() * rate / n as f64;
            year.push(next);
            sum += next;
        }
        Hours::of((year.len() - 1) as f64 * step)
    }

    /// How long one failure lasts, on a grid: each cell takes what rounds to it.
    fn one_failure(&self, step: f64, cells: usize) -> Vec<f64> {
        let (lengths, limit, rate) = (self.lengths(), self.limit(), self.failures().get());
        let sustained = self.indices.saifi.get() / rate;
        let longer = |x: f64| {
            let beyond = x - self.restart.get();
            let of_sustained = sustained * lengths.longer(limit + Hours::of(beyond.max(0.0)));
            let of_momentary = if beyond < 0.0 { self.momentary_that_count() / rate } else { 0.0 };
            of_sustained + of_momentary
        };
        (0..=cells)
            .map(|j| {
                let from = if j == 0 { 1.0 } else { longer((j as f64 - 0.5) * step) };
                from - longer((j as f64 + 0.5) * step)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn minutes(m: f64) -> Hours {
        Hours::minutes(m)
    }

    fn near(got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "{got} is not {want} within {tolerance}");
    }

    #[test]
    fn the_length_vectors_come_out() {
        // Spread 1.5 [CALC26]. A: CAIDI 121.3 (US 2023 without major event days [EIA23]); B: 271.8 (all).
        for (caidi, mu, median, longer) in [
            (121.3, 3.6733, 39.38, [0.5720, 0.3895, 0.2288, 0.1141, 0.0478, 0.0264, 0.0082]),
            (271.8, 4.4801, 88.24, [0.7640, 0.6015, 0.4188, 0.2524, 0.1294, 0.0808, 0.0313]),
        ] {
            let l = Lengths::with_mean(minutes(caidi));
            near(l.mu + 60f64.ln(), mu, 6e-5);
            near(l.median().in_minutes(), median, 0.006);
            for (t, p) in [30.0, 60.0, 120.0, 240.0, 480.0, 720.0, 1_440.0].into_iter().zip(longer) {
                near(l.longer(minutes(t)), p, 6e-5);
            }
        }
        let (a, b) = (Lengths::with_mean(minutes(121.3)), Lengths::with_mean(minutes(271.8)));
        let given = |l: Lengths, t: f64, after: f64| l.longer(minutes(t)) / l.longer(minutes(after));
        for (t, after, pa, pb) in [
            (60.0, 30.0, 0.6809, 0.7873),
            (120.0, 60.0, 0.5875, 0.6963),
            (480.0, 240.0, 0.4185, 0.5128),
            (720.0, 240.0, 0.2309, 0.3203),
        ] {
            near(given(a, t, after), pa, 6e-5);
            near(given(b, t, after), pb, 6e-5);
        }
    }

    #[test]
    fn a_british_figure_gives_the_spread() {
        // Mean 95.8 min in 2001-02 [GBTIC05] and 67 % restored within an hour [OFGEM67]: spread 1.50, median 31 min. Different
        // years: indicative.
        let l = Lengths::with_mean(minutes(95.8));
        near(l.longer(minutes(60.0)), 0.33, 0.005);
        near(l.median().in_minutes(), 31.0, 0.2);
    }

    #[test]
    fn a_week_almost_never_shows_a_power_cut() {
        // SAIFI of 2023 without and with major event days [EIA23], and 1.5: 1.94, 2.55 and 2.83 % in 7 days [CALC26].
        for (saifi, percent) in [(1.022, 1.94), (1.348, 2.55), (1.5, 2.83)] {
            near(100.0 * seen_within(PerYear::of(saifi), 7.0), percent, 0.005);
        }
        near(seen_within(PerYear::of(1.5), 0.0), 0.0, 0.0);
        // Once a year is seen within a year by 1 - 1/e of those who watch [HAND26].
        near(seen_within(PerYear::of(1.0), 365.25), 0.632_120_558_8, 1e-9);
    }

    fn case(saifi: f64, caidi: f64, ride: f64, restart: f64, street: Option<f64>) -> Case {
        Case {
            indices: Indices { saifi: PerYear::of(saifi), caidi: minutes(caidi) },
            momentary: PerYear::of(0.0),
            ride_through: minutes(ride),
            restart: minutes(restart),
            street: street.map(minutes),
        }
    }

    #[test]
    fn without_a_backup_it_is_saidi_and_the_restarts() {
        let c = case(1.348, 271.8, 0.0, 5.0, None);
        near(c.expected().in_minutes(), 1.348 * (271.8 + 5.0), 1e-9);
        let with = Case { momentary: PerYear::of(6.0), ..c };
        near((with.expected() - c.expected()).in_minutes(), 30.0, 1e-9);
        // Any backup forgives a momentary one.
        let backed = with.riding(minutes(30.0));
        near(backed.expected().get(), c.riding(minutes(30.0)).expected().get(), 1e-12);
    }

    #[test]
    fn where_the_street_fails_first_a_bigger_battery_removes_nothing() {
        let c = case(1.348, 271.8, 240.0, 5.0, Some(120.0));
        assert!(c.street_decides());
        near(c.removed_by(minutes(1_440.0)), 0.0, 1e-12);
        near(c.beyond_any_battery(), 1.0, 1e-12);
        let c = case(1.348, 271.8, 30.0, 5.0, Some(240.0));
        assert!(!c.street_decides() && c.removed_by(minutes(240.0)) > 0.2);
        near(c.removed_by(minutes(240.0)), c.removed_by(minutes(9_000.0)), 1e-12);
        near(case(1.0, 100.0, 30.0, 5.0, None).beyond_any_battery(), 0.0, 1e-12);
    }

    proptest! {
        #[test]
        fn it_is_monotone_in_everything(
            saifi in 0.05f64..8.0, caidi in 10.0f64..900.0, ride in 0.0f64..900.0, restart in 0.0f64..30.0,
            more in 0.1f64..300.0, momentary in 0.0f64..20.0, street in proptest::option::of(1.0f64..900.0)
        ) {
            let c = Case { momentary: PerYear::of(momentary), ..case(saifi, caidi, ride, restart, street) };
            let at = |c: &Case| c.expected().get();
            let slack = 1e-9 * at(&c);
            prop_assert!(at(&c.riding(minutes(ride + more))) <= at(&c) + slack, "battery");
            let with = |saifi: f64, caidi: f64| Case { indices: Indices { saifi: PerYear::of(saifi), caidi: minutes(caidi) }, ..c };
            prop_assert!(at(&with(saifi + more / 100.0, caidi)) > at(&c), "SAIFI");
            prop_assert!(at(&with(saifi, caidi + more)) > at(&c), "CAIDI");
            prop_assert!(at(&Case { restart: minutes(restart + more), ..c }) >= at(&c), "restart");
            prop_assert!(at(&Case { street: None, ..c }) <= at(&c) + slack, "street");
        }

        #[test]
        fn a_year_out_of_a_hundred_is_ordered(saifi in 0.05f64..5.0, ride in 0.0f64..300.0) {
            let c = case(saifi, 200.0, ride, 5.0, None);
            let [low, middle, high] = [5.0, 50.0, 95.0].map(|p| c.in_a_year(p).get());
            prop_assert!(low <= middle && middle <= high && high <= 25.0 * c.expected().get());
            prop_assert_eq!(c.in_a_year(100.0 * c.chance_of_none() - 0.01), Hours::of(0.0));
        }
    }

    #[test]
    fn what_is_left_beyond_a_time_is_the_area_under_the_longer_ones() {
        // E[(T - t)+] is the integral of P(T > u) from t on; here a sum in steps of half a minute, to 2 000 h.
        let l = Lengths::with_mean(minutes(121.3));
        for t in [30.0, 120.0, 480.0] {
            let area: f64 = (0..240_000).map(|n| l.longer(minutes(t + 0.25 + 0.5 * f64::from(n)))).sum::<f64>() * 0.5;
            near(l.beyond(minutes(t)).in_minutes(), area, 1e-3 * area);
        }
    }
}
