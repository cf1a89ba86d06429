//! A probability as people say it: "about 19 in 20". Decides rounding, which never rounds to never or always, and when
//! too little was seen for odds at all.

use crate::judge::thresholds::LOOKS;

/// Denominators tried in turn, with how far off the fraction may be.
const PARTS: [(u32, f64); 7] = [(2, 0.015), (3, 0.015), (4, 0.015), (5, 0.015), (10, 0.015), (15, 0.01), (20, 0.03)];
/// One in so many, for what is rare or nearly sure.
const RARE: [f64; 11] = [20.0, 25.0, 30.0, 40.0, 50.0, 70.0, 100.0, 200.0, 300.0, 500.0, 1_000.0];

/// Whether so little was seen that odds from it alone would only tell how cautiously it is counted: one outage more
/// than were seen is reckoned with, which in an hour is many a year. Nothing is called met on so little either.
pub fn too_little(seen_s: f64) -> bool {
    // A week in which a minute was missed is a week.
    seen_s < 0.95 * LOOKS.least_watch_met.secs()
}

/// The probability in words.
pub fn odds(p: f64) -> String {
    if !p.is_finite() {
        return "odds nobody can give".to_owned();
    }
    let rare = p.min(1.0 - p);
    if rare < 0.001 {
        return if p < 0.5 { "less than 1 in 1000" } else { "more than 999 in 1000" }.to_owned();
    }
    if rare < 0.055 {
        let off = |n: &f64| (n * rare).ln().abs();
        let n = RARE.iter().copied().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(1_000.0);
        return if p < 0.5 { format!("about 1 in {n}") } else { format!("about {} in {n}", n - 1.0) };
    }
    for (parts, off) in PARTS {
        let of = (p * f64::from(parts)).round();
        if (of / f64::from(parts) - p).abs() <= off && of > 0.0 && of < f64::from(parts) {
            let common =
                (1..=parts).rev().find(|d| parts.is_multiple_of(*d) && (of as u32).is_multiple_of(*d)).unwrap_or(1);
            return format!("about {} in {}", of as u32 / common, parts / common);
        }
    }
    format!("about {:.0} in 100", p * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odds_are_near_and_never_certain() {
        for (p, words) in [
            (0.0, "less than 1 in 1000"),
            (1.0, "more than 999 in 1000"),
            (0.95, "about 19 in 20"),
            (0.975, "about 39 in 40"),
            (0.99, "about 99 in 100"),
            (0.5, "about 1 in 2"),
            (0.33, "about 1 in 3"),
            (0.9, "about 9 in 10"),
            (0.93, "about 14 in 15"),
            (0.02, "about 1 in 50"),
            (f64::NAN, "odds nobody can give"),
        ] {
            assert_eq!(odds(p), words);
        }
    }

    #[test]
    fn no_probability_is_told_far_off() {
        for i in 1..1_000 {
            let p = f64::from(i) / 1_000.0;
            let told = odds(p);
            let n: Vec<f64> = told.split(' ').filter_map(|w| w.parse().ok()).collect();
            let (said, rare) = (n[0] / n[1], p.min(1.0 - p));
            assert!((said - p).abs() <= 0.03_f64.min(0.4 * rare) + 1e-9, "{p}: {told}");
        }
    }
}
