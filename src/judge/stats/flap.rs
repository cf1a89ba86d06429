//! Flap damping: a penalty that each flap raises and time halves.
//!
//! Decides when a lane flaps so often that single flaps are no longer news. Does not decide what a flap is. Source:
//! RFC 2439 (penalty and half-life); RFC 7196 (2014) for why the early constants were too harsh.

/// How flaps are punished and forgiven.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damping {
    /// Seconds in which a penalty halves.
    pub half_life: f64,
    /// Penalty of one flap.
    pub per_flap: f64,
    /// At or above this a lane counts as flapping.
    pub suppress: f64,
    /// Below this it no longer does.
    pub reuse: f64,
    /// No penalty grows beyond this.
    pub ceiling: f64,
}

impl Damping {
    /// RFC 7196: 1000 a withdrawal, half-life 15 min, reuse 750 (table 1), suppress 6000 at least (section 6), an hour's hold
    /// at the most (table 1), so a ceiling of 750 · 2⁴ = 12 000. That a flap counts as a withdrawal is a choice.
    pub const CAREFUL: Self =
        Self { half_life: 900.0, per_flap: 1000.0, suppress: 6000.0, reuse: 750.0, ceiling: 12_000.0 };

    /// A penalty after `seconds` without a flap.
    pub fn decayed(self, penalty: f64, seconds: f64) -> f64 {
        penalty * (-seconds.max(0.0) / self.half_life).exp2()
    }
}

/// A lane's standing with the damping rule.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Standing {
    /// Penalty just after the last flap.
    penalty: f64,
    /// When that was, seconds.
    at: f64,
    suppressed: bool,
}

impl Standing {
    /// Notes a flap at `at` seconds; gives the penalty just after it. Times do not go back: an earlier one counts as
    /// the same moment.
    pub fn flap(&mut self, rule: Damping, at: f64) -> f64 {
        let suppressed = self.suppressed(rule, at);
        self.penalty = (rule.decayed(self.penalty, at - self.at) + rule.per_flap).min(rule.ceiling);
        self.at = self.at.max(at);
        self.suppressed = suppressed || self.penalty >= rule.suppress;
        self.penalty
    }

    /// The penalty at `at` seconds.
    pub fn penalty(self, rule: Damping, at: f64) -> f64 {
        rule.decayed(self.penalty, at - self.at)
    }

    /// True from reaching the suppress limit until the penalty has fallen below the reuse limit.
    pub fn suppressed(self, rule: Damping, at: f64) -> bool {
        self.suppressed && self.penalty(rule, at) >= rule.reuse
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::close;
    use super::*;

    #[test]
    fn penalties_match() {
        // S = 2000, R = 750, H = 15 min (RFC 7196 table 1); worked out elsewhere [CALC26].
        let rule = Damping { suppress: 2000.0, ..Damping::CAREFUL };
        let mut lane = Standing::default();
        for (at, want) in [(0.0, 1000.0), (60.0, 1_954.841_604), (120.0, 2_866.564_092), (180.0, 3_737.114_656)] {
            close(lane.flap(rule, at), want, 1e-9);
        }
        close(rule.ceiling, rule.reuse * 2f64.powi(4), 1e-12);
        assert!(lane.suppressed(rule, 180.0) && lane.suppressed(rule, 180.0 + 34.7 * 60.0));
        assert!(!lane.suppressed(rule, 180.0 + 34.8 * 60.0));
    }

    #[test]
    fn suppression_holds_between_the_limits_and_needs_the_upper_one() {
        let rule = Damping { suppress: 2000.0, ..Damping::CAREFUL };
        let mut lane = Standing::default();
        lane.flap(rule, 0.0);
        lane.flap(rule, 100.0);
        assert!(!lane.suppressed(rule, 100.0), "1926 is under 2000");
        lane.flap(rule, 200.0);
        assert!(lane.suppressed(rule, 1000.0), "1466 is under 2000 but over 750");
        for i in 0..1000 {
            assert!(lane.flap(rule, 200.0 + f64::from(i)) <= rule.ceiling);
        }
    }
}
