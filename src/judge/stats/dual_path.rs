//! Two paths instead of one: what they have in common is what is left.
//!
//! Decides the unavailability of a pair of paths of which a part fails together. Does not decide how large that part
//! is: on a home site it is mostly mains power, and should be measured or entered. Sources: beta-factor model
//! (from memory) [NUREG4780]; the exact form for a common cause independent of the rest.

/// Hours in a year as the trade counts them.
pub const HOURS_PER_YEAR: f64 = 8760.0;

/// Unavailability of two paths when a cause of unavailability `shared` fails both:
/// Uc + (U1 - Uc)(U2 - Uc)/(1 - Uc). `shared` is held within what either path allows.
pub fn pair_unavailability(first: f64, second: f64, shared: f64) -> f64 {
    let common = shared.clamp(0.0, first.min(second).clamp(0.0, 1.0));
    if common >= 1.0 {
        return 1.0;
    }
    common + (first - common) * (second - common) / (1.0 - common)
}

/// The shared unavailability under the beta-factor model: β of the better path's.
pub fn shared_by_beta(first: f64, second: f64, beta: f64) -> f64 {
    beta.clamp(0.0, 1.0) * first.min(second)
}

/// Hours a year at this unavailability.
pub fn hours_per_year(unavailability: f64) -> f64 {
    HOURS_PER_YEAR * unavailability
}

#[cfg(test)]
mod tests {
    use super::super::testing::{close, near};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn pairs_match() {
        // Worked out elsewhere [CALC26]: U1, U2, β, U, independent, hours a year.
        for (u1, u2, beta, u, independent, hours) in [
            (0.005, 0.005, 0.0, 2.5e-5, 2.5e-5, 0.219),
            (0.005, 0.005, 0.01, 7.450_372_519e-5, 2.5e-5, 0.652_652_632_6),
            (0.005, 0.005, 0.05, 2.725_681_42e-4, 2.5e-5, 2.387_696_924),
            (0.005, 0.005, 0.10, 5.202_601_301e-4, 2.5e-5, 4.557_478_739),
            (0.005, 0.010, 0.05, 2.963_240_81e-4, 5e-5, 2.595_798_95),
            (0.016_129_3, 0.005, 0.05, 3.254_455_364e-4, 8.064_65e-5, 2.850_902_899),
            (0.02, 0.02, 0.10, 2.324_649_299e-3, 4e-4, 20.363_927_86),
        ] {
            let got = pair_unavailability(u1, u2, shared_by_beta(u1, u2, beta));
            close(got, u, 2e-8);
            close(hours_per_year(got), hours, 2e-8);
            close(pair_unavailability(u1, u2, 0.0), independent, 1e-9);
        }
        for (a, hours) in [
            (0.95, 438.0),
            (0.97, 262.8),
            (0.98, 175.2),
            (0.985, 131.4),
            (0.99, 87.6),
            (0.995, 43.8),
            (0.999, 8.76),
            (0.9995, 4.38),
            (0.9999, 0.876),
        ] {
            near(hours_per_year(1.0 - a), hours, 1e-9);
        }
    }

    proptest! {
        #[test]
        fn a_second_path_never_hurts_and_sharing_never_helps(
            u1 in 0.0f64..=1.0, u2 in 0.0f64..=1.0, b in 0.0f64..=1.0, more in 0.0f64..=1.0
        ) {
            let at = |beta| pair_unavailability(u1, u2, shared_by_beta(u1, u2, beta));
            prop_assert!(at(b) <= u1.min(u2) + 1e-12);
            prop_assert!(at(b.max(more)) >= at(b.min(more)) - 1e-12);
            prop_assert!(at(0.0) >= u1 * u2 - 1e-12);
        }
    }
}
