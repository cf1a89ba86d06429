//! The mains outlook against simulated years: interruptions on a time line, gear that runs on its backup and restarts.
//! Seeds are printed; the same seed gives the same years.
#![expect(clippy::print_stdout, reason = "seeds and figures")]

use pathproof::worksheet::indices::{Indices, mean, published};
use pathproof::worksheet::mains::{Case, SIGMA};
use pathproof::worksheet::units::{Hours, PerYear};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};

const YEARS: usize = 10_000;
const YEAR_H: f64 = 8_760.0;

struct Draw(Xoshiro256PlusPlus);

impl Draw {
    fn uniform(&mut self) -> f64 {
        // Never zero: its logarithm is taken.
        1.0 - self.0.random::<f64>()
    }

    fn exponential(&mut self, mean: f64) -> f64 {
        -mean * self.uniform().ln()
    }

    /// [BOX58]
    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Spans of a year without mains, joined where they overlap; and the moments of momentary ones.
fn year_of_mains(case: &Case, draw: &mut Draw) -> (Vec<(f64, f64)>, Vec<f64>) {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    let mu = case.indices.caidi.get().ln() - SIGMA * SIGMA / 2.0;
    let mut at = draw.exponential(YEAR_H / case.indices.saifi.get());
    while at < YEAR_H {
        let end = at + (mu + SIGMA * draw.normal()).exp();
        match spans.last_mut() {
            Some((_, last)) if at <= *last => *last = last.max(end),
            _ => spans.push((at, end)),
        }
        at += draw.exponential(YEAR_H / case.indices.saifi.get());
    }
    let mut momentary = Vec::new();
    if case.momentary.get() > 0.0 {
        let mut at = draw.exponential(YEAR_H / case.momentary.get());
        while at < YEAR_H {
            momentary.push(at);
            at += draw.exponential(YEAR_H / case.momentary.get());
        }
    }
    (spans, momentary)
}

/// Hours in which the path does not carry: each box by itself, then all of them joined.
fn hours_down(case: &Case, draw: &mut Draw) -> f64 {
    let (spans, momentary) = year_of_mains(case, draw);
    let (ride, restart) = (case.ride_through.get(), case.restart.get());
    let mut down: Vec<(f64, f64)> = Vec::new();
    for (from, to) in spans {
        if to - from > ride {
            down.push((from + ride, to + restart));
        }
        if let Some(street) = case.street
            && to - from > street.get()
        {
            down.push((from + street.get(), to + restart));
        }
    }
    if ride == 0.0 {
        down.extend(momentary.iter().map(|at| (*at, at + restart)));
    }
    down.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut total, mut until) = (0.0, 0.0f64);
    for (from, to) in down {
        total += (to - from.max(until)).max(0.0);
        until = until.max(to);
    }
    total
}

fn case(saifi: f64, caidi: f64, momentary: f64, ride: f64, restart: f64, street: Option<f64>) -> Case {
    Case {
        indices: Indices { saifi: PerYear::of(saifi), caidi: Hours::minutes(caidi) },
        momentary: PerYear::of(momentary),
        ride_through: Hours::minutes(ride),
        restart: Hours::minutes(restart),
        street: street.map(Hours::minutes),
    }
}

fn cases() -> Vec<Case> {
    let mut all = vec![
        case(1.348, 271.8, 0.0, 0.0, 5.0, None),
        case(1.348, 271.8, 8.0, 0.0, 5.0, None),
        case(1.022, 121.3, 0.0, 30.0, 3.0, None),
        case(1.348, 271.8, 4.0, 90.0, 5.0, Some(240.0)),
        case(3.314, 562.2, 4.0, 240.0, 5.0, None),
        case(3.314, 562.2, 0.0, 480.0, 5.0, Some(120.0)),
        case(3.922, 63.4, 20.0, 60.0, 10.0, None),
        case(0.370, 90.0, 0.0, 15.0, 2.0, Some(60.0)),
    ];
    for state in ["texas", "oklahoma", "arizona"] {
        let i = mean(&published(state).expect("a state").all).expect("years");
        all.push(case(i.saifi.get(), i.caidi.in_minutes(), 2.0, 120.0, 5.0, None));
    }
    all
}

#[test]
fn the_formula_is_the_mean_of_simulated_years() {
    for (seed, case) in (1..).zip(cases()) {
        let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(seed));
        let mut years: Vec<f64> = (0..YEARS).map(|_| hours_down(&case, &mut draw)).collect();
        let mean = years.iter().sum::<f64>() / YEARS as f64;
        let spread = (years.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / YEARS as f64).sqrt();
        // Four standard errors of the mean.
        let error = 4.0 * spread / (YEARS as f64).sqrt();
        let says = case.expected().get();
        println!("seed {seed}: {mean:.3} h simulated, {says:.3} h by the formula, 4 standard errors {error:.3}");
        assert!((mean - says).abs() < error, "{case:?}");

        let none = years.iter().filter(|y| **y == 0.0).count() as f64 / YEARS as f64;
        let p = case.chance_of_none();
        assert!((none - p).abs() < 4.0 * (p * (1.0 - p) / YEARS as f64).sqrt() + 1e-9, "{none} {p} {case:?}");

        // The year that 95 of 100 do not exceed: as many simulated years must be beyond it, but for chance and the grid.
        years.sort_by(f64::total_cmp);
        for percent in [75.0, 95.0] {
            let bound = case.in_a_year(percent).get();
            let beyond = |x: f64| years.iter().filter(|y| **y > x).count() as f64 / YEARS as f64;
            let (share, grid) = (1.0 - percent / 100.0, says / 60.0);
            let chance = 4.0 * (share * (1.0 - share) / YEARS as f64).sqrt();
            assert!(beyond(bound + grid) < share + chance, "{percent}: {} beyond {bound} of {case:?}", beyond(bound));
            // Where whole years are without failure the bound may be zero and fewer lie beyond it.
            if bound > 2.0 * grid {
                assert!(beyond(bound - 2.0 * grid) > share - chance, "{percent}: {} beyond {bound}", beyond(bound));
            }
        }
    }
}

#[test]
fn a_wrong_formula_would_be_found() {
    // The restart left out, where restarts are many.
    let case = case(3.922, 63.4, 20.0, 0.0, 10.0, None);
    let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(77));
    let years: Vec<f64> = (0..YEARS).map(|_| hours_down(&case, &mut draw)).collect();
    let mean = years.iter().sum::<f64>() / YEARS as f64;
    let spread = (years.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / YEARS as f64).sqrt();
    let without = Case { restart: Hours::of(0.0), ..case }.expected().get();
    assert!((mean - without).abs() > 8.0 * spread / (YEARS as f64).sqrt(), "{mean} {without}");
}
