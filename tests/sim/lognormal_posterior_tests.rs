//! Checks of the second opinion that the coverage table compares with.

use crate::lognormal_posterior::{LognormalPosterior, LognormalPrior};

/// TRACE-A of the check values: outages in 604 800 s, seconds.
const TRACE_A: [f64; 6] = [45.0, 600.0, 20.0, 1_800.0, 90.0, 7_200.0];

#[track_caller]
fn near(got: f64, want: f64, absolute: f64) {
    assert!((got - want).abs() <= absolute, "got {got:.12e}, want {want:.12e} within {absolute:e}");
}

/// P(availability >= `required`).
fn at_least(p: &LognormalPosterior, required: f64) -> f64 {
    p.probability_below(1.0 - required)
}

fn trace_a(nodes: usize) -> LognormalPosterior {
    let lengths = TRACE_A;
    let up = 604_800.0 - lengths.iter().sum::<f64>();
    LognormalPosterior::new(LognormalPrior::WEAK, &lengths, 6, up, nodes)
}

#[test]
fn trace_a_matches() {
    // Worked out elsewhere [CALC26], 400 x 400 nodes; tolerance 1e-4.
    let p = trace_a(400);
    near(p.quantile(0.05), 0.004_276_9, 1e-4);
    near(p.quantile(0.50), 0.020_494_4, 1e-4);
    near(p.quantile(0.95), 0.124_098_5, 1e-4);
    near(at_least(&p, 0.99), 0.237_594_2, 1e-4);
    near(at_least(&p, 0.995), 0.071_076_4, 1e-4);
    near(at_least(&p, 0.95), 0.791_807_8, 1e-4);
    // Half the nodes give the same four digits.
    near(trace_a(200).quantile(0.95), p.quantile(0.95), 1e-4);
}

#[test]
fn without_an_outage_only_the_prior_speaks() {
    // Worked out elsewhere [CALC26].
    for (hours, u95, at995, at999) in [
        (168.0, 0.032_791_1, 0.805_08, 0.593_41),
        (720.0, 0.007_848_57, 0.926_30, 0.787_54),
        (2160.0, 0.002_629_95, 0.973_93, 0.891_64),
    ] {
        let p = LognormalPosterior::new(LognormalPrior::WEAK, &[], 0, hours * 3600.0, 400);
        near(p.quantile(0.95), u95, 1e-4);
        near(at_least(&p, 0.995), at995, 1e-4);
        near(at_least(&p, 0.999), at999, 1e-4);
    }
}

#[test]
fn more_clean_time_raises_confidence_and_more_outages_lower_it() {
    let belief = |lengths: &[f64], hours: f64| {
        let p = LognormalPosterior::new(LognormalPrior::WEAK, lengths, lengths.len() as u64, hours * 3600.0, 60);
        at_least(&p, 0.995)
    };
    assert!(belief(&[], 720.0) > belief(&[], 168.0));
    assert!(belief(&[300.0, 600.0], 720.0) < belief(&[300.0], 720.0));
    assert!(belief(&[30_000.0], 720.0) < belief(&[300.0], 720.0));
    assert!((0.0..=1.0).contains(&belief(&[1e9], 1.0)));
}
