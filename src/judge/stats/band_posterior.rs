//! Availability when short restarts and long outages are two populations: the bound a verdict may rest on.
//!
//! Decides P(A >= required) and bounds on the unavailability from outages kept apart in two bands, under and from ten
//! minutes, each with a rate of its own and a belief about its mean length. One lognormal for all outages is
//! confidently wrong on such mixtures (95 % bounds that cover 63-66 % in simulation [CALC26]); measured outages look like them.
//!
//! Model. Outages of each band come as a Poisson process. With c the border between the bands:
//! - short ones: x/c has the power law P(x/c <= y) = y^θ on (0, 1), mean length c θ/(1+θ), θ ~ Gamma;
//! - long ones: x/c has the Pareto tail P(x/c > y) = y^-a up to a cap, mean length
//!   c (1 + (R^(1-a) - 1)/(1-a)), R = cap/c, a ~ Gamma.
//!
//! Both beliefs are conjugate: an ended outage adds 1 to the shape and |ln(x/c)| to the rate; one still running adds
//! only its ln(x/c). Together this is Reed's double Pareto form [REED01].
//!
//! The long band's prior is published: of outages of at least 10 minutes, [PADMAN16] and
//! [PADMAN18] give shares lasting over 20 min, 30 min, 1 h, 3 h, 6 h, 12 h, 24 h of .605 .429 .276 .182
//! .107 .046 .030 on one cable network, so a = -ln(share)/ln(x/c) = .73 .77 .72 .59 .62 .72 .71: one straight line
//! from minutes to a day. Confirmed outages recovered within 1, 3, 12 h give .76 .68 .81 (cable), .76 .73 .82 (fibre),
//! .85 .77 .90 (fixed wireless), .55 .43 .58 (DSL).
//!
//! Deterministic quadrature; draws no random numbers.
//!
//! One belief about long lengths serves every kind of line, so it is wide enough for the heaviest published tail: index
//! 0.65 worth 8 outages. With 0.75 worth 16, which fits cable, fibre and fixed wireless, the one-sided 95 % bound covered
//! 80 to 84 % of DSL lines after 96 and 180 days; with the wide one it covers at least 95 % in every row tried, published
//! lengths of all kinds and rare long outages among them (`cargo bench --bench calibration 1000 coverage`). The price is
//! time: a line without an outage is shown to be up 99.5 % of the time after 170 days, where it took 95. Odds over lines
//! of its kind (`decide::belief`) answer before that.
//!
//! It is near its truth where the truth is like the published one and pays elsewhere: a week of short outages cannot
//! exclude the rare long one. A prior of half an outage for the long rate covered only 0.95 at 14 days and a quarter
//! 0.87 at 10 ([CALC26]), because a survey that happens to see no long outage then believes too much; hence one whole.

use super::duration::Lasted;
use super::special::{bisect, gamma_cdf, gamma_quantile, gauss_legendre};

/// Nodes of the quadrature over each short-band unknown and over the long band's index.
const SHORT_NODES: usize = 12;
const LONG_NODES: usize = 24;

/// What is believed before watching; every number is shown with the answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandPrior {
    /// Border between the bands, seconds.
    pub border: f64,
    /// No outage is taken to last longer, seconds.
    pub cap: f64,
    /// Outages added to the count of short ones.
    pub short_count: f64,
    /// Outages added to the count of long ones; 1 makes the bound on their rate Garwood's.
    pub long_count: f64,
    /// Up-time in which the added short ones are believed to have come, seconds; 0 believes nothing of their rate.
    pub short_exposure: f64,
    /// The same for the long ones.
    pub long_exposure: f64,
    /// How many outages the belief about short lengths is worth.
    pub short_weight: f64,
    /// Believed θ of short lengths; 1 is uniform up to the border.
    pub short_index: f64,
    /// How many outages the belief about long lengths is worth.
    pub long_weight: f64,
    /// Believed Pareto index of long lengths; smaller is a heavier tail.
    pub long_index: f64,
}

impl BandPrior {
    /// Every kind of line, from the shares above: index 0.65 worth 8 outages (a choice: its 90 % range, 0.32 to 1.07,
    /// takes in every published index). 10 min border, 72 h cap.
    pub const PUBLISHED: Self = Self {
        border: 600.0,
        cap: 259_200.0,
        short_count: 0.25,
        long_count: 1.0,
        short_exposure: 0.0,
        long_exposure: 0.0,
        short_weight: 1.0,
        short_index: 1.0,
        long_weight: 8.0,
        long_index: 0.65,
    };
}

/// The belief after watching.
#[derive(Clone, Debug)]
pub struct BandPosterior {
    /// Up-time behind the rate of long outages, believed and seen, seconds.
    long_up: f64,
    /// Whether there is any up-time behind both rates.
    watched: bool,
    long_shape: f64,
    /// Short band: ratio of down to up time, with weights.
    short: Vec<(f64, f64)>,
    /// Long band: mean lengths, seconds, with weights.
    long_means: Vec<(f64, f64)>,
}

impl BandPosterior {
    /// The posterior from outages seen in `up` seconds of up-time.
    ///
    /// An outage still running is counted as a long one whatever its age, as it may become one: its belief about
    /// lengths starts to count when it is past the border.
    pub fn new(prior: BandPrior, outages: &[Lasted], up: f64) -> Self {
        let border = prior.border;
        let (mut counts, mut ended, mut logs) = ([0u64; 2], [0.0; 2], [0.0; 2]);
        for o in outages.iter().filter(|o| o.seconds > 0.0) {
            let band = usize::from(!o.ended || o.seconds >= border);
            counts[band] += 1;
            ended[band] += f64::from(u8::from(o.ended));
            if band == 0 || o.seconds > border {
                logs[band] += (o.seconds.min(prior.cap) / border).ln().abs();
            }
        }
        let belief = |weight: f64, index: f64, band: usize| (weight + ended[band], weight / index + logs[band]);
        let (theta_shape, theta_rate) = belief(prior.short_weight, prior.short_index, 0);
        let (index_shape, index_rate) = belief(prior.long_weight, prior.long_index, 1);

        let (short_up, long_up) = (up + prior.short_exposure, up + prior.long_exposure);
        let rule = gauss_legendre(SHORT_NODES);
        let rate_shape = prior.short_count + counts[0] as f64;
        let rates: Vec<f64> = rule.iter().map(|(p, _)| gamma_quantile(rate_shape, *p) / short_up).collect();
        let mut short: Vec<(f64, f64)> = rule
            .iter()
            .flat_map(|(p, w)| {
                let theta = gamma_quantile(theta_shape, *p) / theta_rate;
                let mean = border * theta / (1.0 + theta);
                rates.iter().zip(&rule).map(move |(rate, (_, v))| (rate * mean, w * v))
            })
            .collect();
        short.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Neighbours are merged: 144 atoms tell no more than 36, and each costs a row of gamma functions.
        let short = short
            .chunks(4)
            .map(|c| {
                let weight: f64 = c.iter().map(|a| a.1).sum();
                (c.iter().map(|a| a.0 * a.1).sum::<f64>() / weight, weight)
            })
            .collect();
        let long_means = gauss_legendre(LONG_NODES)
            .into_iter()
            .map(|(p, w)| (pareto_mean(gamma_quantile(index_shape, p) / index_rate, border, prior.cap), w))
            .collect();
        let watched = short_up > 0.0 && long_up > 0.0;
        Self { long_up, watched, long_shape: prior.long_count + counts[1] as f64, short, long_means }
    }

    /// P(unavailability <= `u`).
    pub fn probability_below(&self, u: f64) -> f64 {
        if u >= 1.0 {
            return 1.0;
        }
        if !self.watched || u <= 0.0 {
            return 0.0;
        }
        let ratio = u / (1.0 - u);
        let long = |rest: f64| -> f64 {
            self.long_means.iter().map(|(mean, w)| w * gamma_cdf(self.long_shape, rest * self.long_up / mean)).sum()
        };
        self.short.iter().filter(|(s, _)| *s < ratio).map(|(s, w)| w * long(ratio - s)).sum()
    }

    /// P(availability >= `required`).
    pub fn probability_at_least(&self, required: f64) -> f64 {
        self.probability_below(1.0 - required)
    }

    /// Quantile of the unavailability; 1 if nothing was watched.
    pub fn quantile(&self, p: f64) -> f64 {
        if !self.watched {
            return 1.0;
        }
        let logistic = |x: f64| 1.0 / (1.0 + (-x).exp());
        let (mut low, mut high) = (-30.0, 10.0);
        // To a millionth: far finer than the model.
        while high - low > 1e-6 {
            let middle = f64::midpoint(low, high);
            if self.probability_below(logistic(middle)) >= p { high = middle } else { low = middle }
        }
        logistic(high)
    }
}

/// Mean of a Pareto length of this index from `border`, cut at `cap`.
fn pareto_mean(index: f64, border: f64, cap: f64) -> f64 {
    let (ratio, d) = ((cap / border).ln(), 1.0 - index);
    let area = if d.abs() < 1e-9 { ratio } else { (d * ratio).exp_m1() / d };
    border * (1.0 + area)
}

/// Further up-time without an outage until P(A >= `required`) reaches `confidence`, seconds; zero if it has.
///
/// `None` if a hundred years do not suffice.
pub fn clean_time_needed(prior: BandPrior, seen: &[Lasted], up: f64, required: f64, confidence: f64) -> Option<f64> {
    const CENTURY: f64 = 3.156e9;
    let enough = |more: f64| BandPosterior::new(prior, seen, up + more).probability_at_least(required) >= confidence;
    if enough(0.0) {
        return Some(0.0);
    }
    if !enough(CENTURY) {
        return None;
    }
    let log = bisect(0.0, CENTURY.ln(), |x| enough(x.exp()));
    Some(log.exp())
}

#[cfg(test)]
mod tests {
    use super::super::duration::tests::lasted;
    use super::super::testing::{Lcg, TRACE_A, TRACE_A_LENGTH, close, near};
    use super::*;

    const PRIOR: BandPrior = BandPrior::PUBLISHED;
    const DAY: f64 = 86_400.0;

    /// Lengths of facts 4.8's last row: 85 % lognormal(5 min, 1) and 15 % lognormal(2 h, 1.5).
    fn mixture(draw: &mut Lcg) -> f64 {
        if draw.uniform() < 0.15 { draw.lognormal(7200.0, 1.5) } else { draw.lognormal(300.0, 1.0) }
    }

    /// Its mean: 0.85 · 300 · e^(1/2) + 0.15 · 7200 · e^(1.5²/2).
    fn mixture_mean() -> f64 {
        0.85 * 300.0 * 0.5f64.exp() + 0.15 * 7200.0 * 1.125f64.exp()
    }

    /// Outages of one survey of `days` of up-time, one per 48 h on average.
    fn survey(days: f64, draw: &mut Lcg) -> Vec<Lasted> {
        let mut outages = Vec::new();
        let mut at = draw.exponential(2.0 * DAY);
        while at < days * DAY {
            outages.push(Lasted { seconds: mixture(draw), ended: true });
            at += draw.exponential(2.0 * DAY);
        }
        outages
    }

    #[test]
    fn the_bound_covers_a_mixture() {
        // Coverage of the one-sided 95 % bound: it covers if P(U <= truth) <= 0.95. Seeded; 200 sites a row.
        const SITES: u32 = 200;
        let ratio = mixture_mean() / (2.0 * DAY);
        let truth = ratio / (1.0 + ratio);
        for days in [7.0, 10.0, 30.0] {
            let mut draw = Lcg(48 + days as u64);
            let mut covered = 0;
            for _ in 0..SITES {
                let outages = survey(days, &mut draw);
                let bands = BandPosterior::new(PRIOR, &outages, days * DAY);
                covered += u32::from(bands.probability_below(truth) <= 0.95);
            }
            let share = f64::from(covered) / f64::from(SITES);
            assert!(share >= 0.95, "covered {share} of sites at {days} days");
        }
    }

    #[test]
    fn the_bound_is_not_so_wide_as_to_say_nothing() {
        // Median bound over truth on the mixture: 7.7 at 7 d; a narrower tail had 5.2 ([CALC26]). Seeded, 41 sites.
        let ratio = mixture_mean() / (2.0 * DAY);
        let truth = ratio / (1.0 + ratio);
        for (days, most) in [(7.0, 9.0), (30.0, 5.0)] {
            let mut draw = Lcg(7);
            let mut bounds: Vec<f64> = (0..41)
                .map(|_| BandPosterior::new(PRIOR, &survey(days, &mut draw), days * DAY).quantile(0.95) / truth)
                .collect();
            bounds.sort_by(f64::total_cmp);
            assert!(bounds[20] < most, "median bound {} times the truth at {days} days", bounds[20]);
        }
    }

    #[test]
    fn the_published_tail_gives_its_mean() {
        // Index 0.7, 10 min to 72 h: by hand 600 · (1 + (432^0.3 - 1)/0.3).
        close(pareto_mean(0.7, 600.0, 259_200.0), 600.0 * (1.0 + (432f64.powf(0.3) - 1.0) / 0.3), 1e-12);
        close(pareto_mean(1.0, 600.0, 259_200.0), 600.0 * (1.0 + 432f64.ln()), 1e-9);
    }

    #[test]
    fn quadrature_agrees_with_seeded_draws() {
        // TRACE-A by 40 000 draws from the same model; standard error of a probability 0.0025.
        let data = lasted(&TRACE_A.map(|o| o.1), &[1; 6]);
        let up = TRACE_A_LENGTH - 9755.0;
        let p = BandPosterior::new(PRIOR, &data, up);
        let logs = |long: bool| -> f64 {
            TRACE_A.iter().filter(|o| (o.1 >= 600.0) == long).map(|o| (o.1 / 600.0).ln().abs()).sum()
        };
        let tables: Vec<Vec<f64>> = [3.25, 4.0, 4.0, 11.0]
            .iter()
            .map(|shape| (0..2000).map(|i| gamma_quantile(*shape, (f64::from(i) + 0.5) / 2000.0)).collect())
            .collect();
        let mut draw = Lcg(5);
        let (mut low, mut middle) = (0u32, 0u32);
        for _ in 0..40_000 {
            let mut pick = |i: usize| tables[i][(draw.uniform() * 2000.0) as usize];
            let theta = pick(1) / (1.0 + logs(false));
            let index = pick(3) / (8.0 / 0.65 + logs(true));
            let ratio =
                pick(0) / up * 600.0 * theta / (1.0 + theta) + pick(2) / up * pareto_mean(index, 600.0, 259_200.0);
            let u = ratio / (1.0 + ratio);
            low += u32::from(u <= 0.02);
            middle += u32::from(u <= 0.05);
        }
        near(p.probability_below(0.02), f64::from(low) / 40_000.0, 0.01);
        near(p.probability_below(0.05), f64::from(middle) / 40_000.0, 0.01);
    }

    #[test]
    fn evidence_moves_the_answer_the_right_way() {
        let belief = |lengths: &[f64], days: f64| {
            BandPosterior::new(PRIOR, &lasted(lengths, &vec![1; lengths.len()]), days * DAY).probability_at_least(0.995)
        };
        assert!(belief(&[], 30.0) > belief(&[], 7.0));
        assert!(belief(&[60.0], 30.0) < belief(&[], 30.0));
        assert!(belief(&[7200.0], 30.0) < belief(&[60.0], 30.0));
        assert!(belief(&[80_000.0], 30.0) < belief(&[900.0], 30.0));
        // An open outage weighs more the longer it has run, and no less than a short one that ended.
        let open = |age: f64| {
            BandPosterior::new(PRIOR, &[Lasted { seconds: age, ended: false }], 30.0 * DAY).probability_at_least(0.995)
        };
        assert!(open(30_000.0) < open(3_000.0) && open(30.0) < belief(&[30.0], 30.0));
        // A clean week shows nothing like 99.9 %; nothing watched shows nothing.
        assert!(belief(&[], 7.0) < 0.95);
        let blind = BandPosterior::new(PRIOR, &[], 0.0);
        near(blind.probability_at_least(0.5), 0.0, 0.0);
        near(blind.quantile(0.95), 1.0, 0.0);
    }

    #[test]
    fn quantiles_and_needed_time_invert_the_probability() {
        let data = lasted(&[60.0, 200.0, 1500.0], &[1, 1, 1]);
        let p = BandPosterior::new(PRIOR, &data, 30.0 * DAY);
        for q in [0.05, 0.5, 0.95] {
            near(p.probability_below(p.quantile(q)), q, 1e-5);
        }
        let more = clean_time_needed(PRIOR, &data, 30.0 * DAY, 0.995, 0.95).expect("not for ever");
        assert!(more > DAY);
        let then = BandPosterior::new(PRIOR, &data, 30.0 * DAY + more);
        near(then.probability_at_least(0.995), 0.95, 1e-5);
        let most = clean_time_needed(PRIOR, &[], 3000.0 * DAY, 0.9, 0.95);
        assert_eq!(most, Some(0.0));
        assert_eq!(clean_time_needed(PRIOR, &data, DAY, 1.0, 0.95), None);
    }
}
