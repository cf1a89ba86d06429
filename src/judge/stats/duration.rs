//! How long outages last, from lengths some of which are still running.
//!
//! Decides the Kaplan-Meier survival curve with log-log bounds, and its median. Assumes no shape (see
//! `lognormal_fit`, `weibull_fit`). An outage already running when watching began has no known age: leave it out.
//! Source: [KAPLAN58]; log-log bounds as in [KALBFLEISCH80].

use super::Interval;
use super::special::two_sided_z;

/// One outage's length as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lasted {
    /// Seconds it lasted, or has lasted so far.
    pub seconds: f64,
    /// False if it was still running when last seen (right-censored).
    pub ended: bool,
}

/// One step of the survival curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Length at which outages ended, seconds.
    pub at: f64,
    /// Share lasting longer than `at`.
    pub survival: f64,
    /// Log-log bounds of `survival`: S^exp(±z s / ln S). Where S reaches 0, from 0 to the step before's upper bound.
    pub bounds: Interval,
}

/// The Kaplan-Meier curve, one step per distinct length at which an outage ended, ascending.
pub fn kaplan_meier(data: &[Lasted], confidence: f64) -> Vec<Step> {
    let z = two_sided_z(confidence);
    let mut sorted = data.to_vec();
    // At equal lengths the ended come first: a censored one was still running then.
    sorted.sort_by(|a, b| a.seconds.total_cmp(&b.seconds).then(b.ended.cmp(&a.ended)));
    let mut steps: Vec<Step> = Vec::new();
    let (mut survival, mut greenwood, mut i) = (1.0, 0.0, 0);
    while i < sorted.len() {
        let at = sorted[i].seconds;
        let tied = sorted[i..].iter().take_while(|x| x.seconds.total_cmp(&at).is_eq()).count();
        let ended = sorted[i..i + tied].iter().filter(|x| x.ended).count() as f64;
        let risk = (sorted.len() - i) as f64;
        i += tied;
        if ended == 0.0 {
            continue;
        }
        survival *= 1.0 - ended / risk;
        greenwood += ended / (risk * (risk - ended));
        let bounds = if survival > 0.0 {
            let spread = z * greenwood.sqrt() / f64::ln(survival);
            Interval { lower: survival.powf((-spread).exp()), upper: survival.powf(spread.exp()) }
        } else {
            Interval { lower: 0.0, upper: steps.last().map_or(1.0, |s| s.bounds.upper) }
        };
        steps.push(Step { at, survival, bounds });
    }
    steps
}

/// The length half the outages do not exceed, with its bounds: where the curve, and each bound of it, first is at or
/// under a half [BROOKMEYER82]. `None` where the outages seen don't reach that far.
pub fn median(steps: &[Step]) -> (Option<f64>, [Option<f64>; 2]) {
    let first = |of: &dyn Fn(&Step) -> f64| steps.iter().find(|s| of(s) <= 0.5).map(|s| s.at);
    (first(&|s| s.survival), [first(&|s| s.bounds.lower), first(&|s| s.bounds.upper)])
}

#[cfg(test)]
pub(crate) mod tests {
    use super::super::testing::{TRACE_A, close, near};
    use super::*;
    use proptest::prelude::*;

    /// Lengths with a flag: 1 ended, 0 still running.
    pub(crate) fn lasted(lengths: &[f64], ended: &[u8]) -> Vec<Lasted> {
        lengths.iter().zip(ended).map(|(s, e)| Lasted { seconds: *s, ended: *e == 1 }).collect()
    }

    /// TRACE-A with the last outage still running.
    pub(crate) fn trace_a_open() -> Vec<Lasted> {
        lasted(&TRACE_A.map(|o| o.1), &[1, 1, 1, 1, 1, 0])
    }

    /// Random censored lengths: times, ended flags, and what the reference libraries made of them.
    pub(crate) struct Reference {
        pub(crate) lengths: [f64; 12],
        pub(crate) ended: [u8; 12],
        pub(crate) survival: [(f64, [f64; 3]); 2],
        pub(crate) lognormal: [f64; 3],
        pub(crate) weibull: [f64; 3],
    }

    /// numpy `default_rng(31)`: 12 lognormal(5, 1.2) lengths censored at their 80 % point, rounded to 0.1; lifelines
    /// 0.30.3 `KaplanMeierFitter` (survival and 95 % bounds at two lengths); maximum likelihood by scipy 1.17.1
    /// Nelder-Mead on `norm.logpdf/logsf` of ln t (mu, sigma, log-likelihood) and `weibull_min` (shape, scale, same).
    #[rustfmt::skip]
    #[expect(clippy::unreadable_literal, reason = "printed by the script as they are")]
    pub(crate) const REFERENCES: [Reference; 3] = [
        Reference {
            lengths: [92.4, 203.7, 307.5, 46.2, 372.9, 201.6, 379.8, 205.8, 554.8, 48.2, 554.8, 554.8], ended: [1, 1, 1, 1, 1, 1, 1, 1, 0, 1, 0, 0],
            survival: [(202.23, [0.6666666666666665, 0.3370189325414018, 0.8597117990844396]), (346.73999999999995, [0.41666666666666663, 0.15247126449269222, 0.665301541550334])],
            lognormal: [5.553362821555257, 1.0818338968668626, -62.162332162482755], weibull: [1.165295238996365, 388.7124318311585, -62.59326884994788],
        },
        Reference {
            lengths: [72.2, 235.8, 235.8, 18.3, 235.8, 73.5, 109.9, 72.0, 88.8, 161.8, 166.7, 22.9], ended: [1, 0, 0, 1, 0, 1, 1, 1, 1, 1, 1, 1],
            survival: [(72.59, [0.6666666666666665, 0.3370189325414018, 0.8597117990844396]), (141.04, [0.41666666666666663, 0.15247126449269222, 0.665301541550334])],
            lognormal: [4.707405402939142, 1.0387375642586414, -54.32538436729553], weibull: [1.1996737060523384, 164.50785646652523, -54.815019623857474],
        },
        Reference {
            lengths: [107.5, 29.6, 32.3, 97.9, 288.3, 288.3, 71.8, 63.3, 55.0, 176.1, 288.3, 151.7], ended: [1, 1, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1],
            survival: [(65.85, [0.6666666666666665, 0.3370189325414018, 0.8597117990844396]), (134.01999999999998, [0.41666666666666663, 0.15247126449269222, 0.665301541550334])],
            lognormal: [4.781736258719041, 0.9974088234539246, -54.602232979233904], weibull: [1.107715438782909, 182.918563609198, -55.836940128581034],
        },
    ];

    #[test]
    fn the_classic_remission_data_match() {
        // [FREIREICH63], n = 21: three digits as textbooks print them, six by lifelines [CALC26].
        let months: [f64; 21] =
            [6., 6., 6., 6., 7., 9., 10., 10., 11., 13., 16., 17., 19., 20., 22., 23., 25., 32., 32., 34., 35.];
        let flags = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0];
        let steps = kaplan_meier(&lasted(&months, &flags), 0.95);
        let wants = [
            (6.0, 0.857, 0.857_143),
            (7.0, 0.807, 0.806_723),
            (10.0, 0.753, 0.752_941),
            (13.0, 0.690, 0.690_196),
            (16.0, 0.627, 0.627_451),
            (22.0, 0.538, 0.537_815),
            (23.0, 0.448, 0.448_179),
        ];
        assert_eq!(steps.len(), wants.len());
        for (step, (at, published, full)) in steps.iter().zip(wants) {
            near(step.at, at, 0.0);
            near(step.survival, published, 5.1e-4);
            near(step.survival, full, 5.1e-7);
        }
        // R's survfit with conf.type = "log-log" prints median 23, 0.95LCL 13, 0.95UCL NA [FREIREICH63].
        assert_eq!(median(&steps), (Some(23.0), [Some(13.0), None]));
        assert_eq!(median(&[]), (None, [None, None]));
    }

    #[test]
    fn log_log_bounds_match() {
        // Case 4 with the bounds printed there [SCIPYTEST17].
        let lengths = [24., 3., 11., 19., 24., 13., 14., 2., 18., 17., 24., 21., 12., 1., 10., 23., 6., 5., 9., 17.];
        let flags = [0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 1, 0, 1];
        let steps = kaplan_meier(&lasted(&lengths, &flags), 0.95);
        for (step, (at, s, lower, upper)) in steps.iter().zip([
            (1.0, 0.95, 0.694_743, 0.992_802),
            (3.0, 0.897, 0.647_529, 0.973_299),
            (5.0, 0.844, 0.591_142, 0.947_073),
            (14.0, 0.76, 0.464_605, 0.906_422),
            (17.0, 0.676, 0.370_359, 0.856_521),
            (23.0, 0.507, 0.160_489, 0.776_724),
        ]) {
            near(step.at, at, 0.0);
            near(step.survival, s, 5.1e-4);
            near(step.bounds.lower, lower, 5.1e-7);
            near(step.bounds.upper, upper, 5.1e-7);
        }
        assert_eq!(steps.len(), 6);
    }

    #[test]
    fn random_lengths_agree_with_lifelines() {
        for r in REFERENCES {
            let steps = kaplan_meier(&lasted(&r.lengths, &r.ended), 0.95);
            for (at, want) in r.survival {
                let step = steps.iter().rev().find(|s| s.at <= at).expect("a step before");
                for (got, want) in [step.survival, step.bounds.lower, step.bounds.upper].into_iter().zip(want) {
                    close(got, want, 1e-9);
                }
            }
        }
    }

    #[test]
    fn trace_a_steps_match() {
        // Worked out elsewhere [CALC26].
        let steps = kaplan_meier(&trace_a_open(), 0.95);
        for (step, (at, s)) in
            steps.iter().zip([(20.0, 0.8333), (45.0, 0.6667), (90.0, 0.5), (600.0, 0.3333), (1800.0, 0.1667)])
        {
            near(step.at, at, 0.0);
            near(step.survival, s, 5.1e-5);
        }
        assert_eq!(steps.len(), 5);
    }

    proptest! {
        #[test]
        fn the_curve_falls_and_longer_outages_raise_the_median(
            lengths in proptest::collection::vec((1.0f64..1e5, any::<bool>()), 1..40)
        ) {
            let data: Vec<_> = lengths.iter().map(|&(seconds, ended)| Lasted { seconds, ended }).collect();
            let steps = kaplan_meier(&data, 0.95);
            prop_assert!(steps.windows(2).all(|w| w[1].survival < w[0].survival && w[1].at > w[0].at));
            prop_assert!(steps.iter().all(|s| s.bounds.lower <= s.survival + 1e-12 && s.survival <= s.bounds.upper + 1e-12));
            let longer: Vec<_> = data.iter().map(|d| Lasted { seconds: 2.0 * d.seconds, ..*d }).collect();
            prop_assert!(median(&kaplan_meier(&longer, 0.95)).0 >= median(&steps).0);
        }
    }
}
