//! Voltage lost in a pair of conductors, and the longest run that still works.
//!
//! Decides a copper conductor's resistance from its size, make and temperature, and from it the drop over *both*
//! conductors. Sizes: AWG by the geometry of ASTM B258 (d = 0.127 mm x 92^((36-n)/39)) [ASTMB258] and the resistivity
//! of annealed copper, 1.7241e-8 ohm m at 20 C [IACS13], both from memory; checked against copies of NFPA 70 chapter 9
//! table 8 [NEC98] and of the wire tables [NBS100]. Metric sizes are nominal and their conductors may be thinner: an allowance covers the limits of IEC 60228
//! [IEC60228].

use super::units::{Celsius, Metres, Milliamps, OhmsPerKm, Volts};
use serde::{Deserialize, Serialize};

/// A conductor's size.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Gauge {
    /// American wire gauge.
    Awg(u8),
    /// Nominal cross-section, mm2.
    Mm2(f64),
}

// Cross-sections are never NaN: `read` is the only way in and refuses it.
impl Eq for Gauge {}

/// Thickest and thinnest AWG that is signal wiring.
const AWG: std::ops::RangeInclusive<u8> = 8..=26;
/// The same in mm2.
const MM2: std::ops::RangeInclusive<f64> = 0.1..=10.0;

impl Gauge {
    /// Reads `22 AWG` or `0.75 mm2`. The error is what to write instead.
    pub fn read(text: &str) -> Result<Self, String> {
        let hint = || "write a size with its system: \"22 AWG\" or \"0.75 mm2\"".to_owned();
        let text = text.trim();
        let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
        let (number, system) = (&text[..end], text[end..].trim());
        match system {
            "AWG" | "awg" => match number.parse() {
                Ok(n) if AWG.contains(&n) => Ok(Self::Awg(n)),
                Ok(n) => Err(format!("{n} AWG is no signal wire: write {} to {} AWG", AWG.start(), AWG.end())),
                Err(_) => Err(hint()),
            },
            "mm2" | "mm\u{b2}" => match number.parse::<f64>() {
                Ok(a) if MM2.contains(&a) => Ok(Self::Mm2(a)),
                Ok(a) => Err(format!("{a} mm2 is no signal wire: write {} to {} mm2", MM2.start(), MM2.end())),
                Err(_) => Err(hint()),
            },
            _ => Err(hint()),
        }
    }
}

impl TryFrom<String> for Gauge {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        Self::read(&text)
    }
}

impl From<Gauge> for String {
    fn from(gauge: Gauge) -> String {
        gauge.to_string()
    }
}

impl std::fmt::Display for Gauge {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Awg(n) => write!(f, "{n} AWG"),
            Self::Mm2(a) => write!(f, "{a} mm2"),
        }
    }
}

/// How a conductor is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Strand {
    /// One wire.
    Solid,
    /// Several; the lay makes them longer than the cable. Taken where nobody says: it is the worse.
    #[default]
    Stranded,
}

/// Resistivity of annealed copper at 20 C, ohm mm2 per km [IACS13].
const COPPER: f64 = 17.241;
/// Rise of copper's resistance per degree, of that at 20 C [IACS13]; the 0.003 23 of that at 75 C of the US table
/// [NEC98] is the same line.
const PER_DEGREE: f64 = 0.003_93;
/// Strands are this much longer than their cable (2 % by [ASTMB8]; table 8 of NFPA 70 chapter 9 [NEC98] shows 1.7 to
/// 2.5 %, so 2.5 % is never too little).
const LAY: f64 = 1.025;
/// How much a metric conductor of nominal size may exceed the resistance of that size, solid and flexible: the largest
/// excess of classes 1 and 5 of [IEC60228] from 0.5 to 4 mm2.
const METRIC: [f64; 2] = [1.075, 1.16];

/// Cross-section of an AWG size, mm2 [ASTMB258].
pub fn awg_mm2(n: u8) -> f64 {
    let d = 0.127 * 92f64.powf((36.0 - f64::from(n)) / 39.0);
    std::f64::consts::PI / 4.0 * d * d
}

/// Resistance of one conductor.
pub fn resistance(gauge: Gauge, strand: Strand, at: Celsius) -> OhmsPerKm {
    let (area, more) = match (gauge, strand) {
        (Gauge::Awg(n), Strand::Solid) => (awg_mm2(n), 1.0),
        (Gauge::Awg(n), Strand::Stranded) => (awg_mm2(n), LAY),
        (Gauge::Mm2(a), Strand::Solid) => (a, METRIC[0]),
        (Gauge::Mm2(a), Strand::Stranded) => (a, METRIC[1]),
    };
    OhmsPerKm::of(COPPER / area * more * (1.0 + PER_DEGREE * (at.get() - 20.0)))
}

/// Voltage lost on the way out and back: 2 x length x resistance x current.
pub fn drop(one_way: Metres, conductor: OhmsPerKm, current: Milliamps) -> Volts {
    conductor * one_way.times(2.0) * current
}

/// The longest one-way run that leaves the device its least voltage; infinite for no current, none where the source has
/// nothing to give away.
pub fn longest(source: Volts, least: Volts, conductor: OhmsPerKm, current: Milliamps) -> Metres {
    let spare = (source - least).get().max(0.0);
    if current.get() <= 0.0 {
        return Metres::of(f64::INFINITY);
    }
    Metres::of(spare / (2.0 * current.get() * 1e-3 * conductor.get() * 1e-3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn near(got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "{got} is not {want} within {tolerance}");
    }

    fn solid(n: u8, at: f64) -> f64 {
        resistance(Gauge::Awg(n), Strand::Solid, Celsius::of(at)).in_per_kft()
    }

    #[test]
    fn sizes_are_those_of_the_geometry() {
        // AWG, mm2, ohm/km and ohm/kft of solid annealed copper at 20 C, by the formulas of [ASTMB258] and [IACS13] [CALC26].
        for (n, area, per_km, per_kft) in [
            (12, 3.308_77, 5.2107, 1.5882),
            (14, 2.080_91, 8.2853, 2.5254),
            (16, 1.308_70, 13.1742, 4.0155),
            (18, 0.823_05, 20.9478, 6.3849),
            (20, 0.517_62, 33.3083, 10.1524),
            (22, 0.325_53, 52.9622, 16.1429),
            (24, 0.204_73, 84.2132, 25.6682),
        ] {
            near(awg_mm2(n), area, 6e-6);
            near(resistance(Gauge::Awg(n), Strand::Solid, Celsius::of(20.0)).get(), per_km, 1e-3);
            near(solid(n, 20.0), per_kft, 1e-3);
        }
    }

    #[test]
    #[expect(clippy::approx_constant, reason = "the table's 14 AWG has 3.14 ohm/kft")]
    fn handbook_tables_come_out() {
        // Solid annealed copper at 20 C, ohm per 1000 ft, as a copy of the wire tables has it [NBS100].
        for (n, ohms) in
            [(12, 1.588), (14, 2.525), (16, 4.016), (18, 6.385), (20, 10.15), (22, 16.14), (24, 25.67), (26, 40.81)]
        {
            near(solid(n, 20.0), ohms, 1e-3 * ohms);
        }
        // The same at 25 C [NBS100]; and 400 ft of 18 AWG are 6.505 x 0.4 = 2.602 ohm [HAND26].
        for (n, ohms) in [(16, 4.091), (18, 6.505), (20, 10.34), (22, 16.45), (24, 26.15)] {
            near(solid(n, 25.0), ohms, 2e-3 * ohms);
        }
        near(OhmsPerKm::per_kft(6.505).get() * Metres::feet(400.0).get() / 1_000.0, 2.602, 1e-9);
        // NFPA 70 (NEC) chapter 9 table 8, uncoated copper at 75 C, from a transcription [NEC98]: AWG, solid and
        // 7-strand in ohm/kft. Within 0.5 %, and stranded never under the table by more than its rounding.
        for (n, one, seven) in [
            (18, 7.77, 7.95),
            (16, 4.89, 4.99),
            (14, 3.07, 3.14),
            (12, 1.93, 1.98),
            (10, 1.21, 1.24),
            (8, 0.764, 0.778),
        ] {
            near(solid(n, 75.0), one, 5e-3 * one);
            let stranded = resistance(Gauge::Awg(n), Strand::Stranded, Celsius::of(75.0)).in_per_kft();
            near(stranded, seven, 8e-3 * seven);
            assert!(stranded > seven * 0.998, "{n} AWG: {stranded} under {seven}");
        }
        // By the table's own temperature rule, 0.003 23 of that at 75 C a degree [NEC98], its 7.77 is 6.390 at 20 C
        // [HAND26]; ours is the wire tables' 6.385.
        near(solid(18, 20.0), 6.390, 0.006);
        near(solid(18, 75.0) / solid(18, 20.0), 1.0 / (1.0 - 0.003_23 * 55.0), 0.002);
    }

    #[test]
    fn metric_sizes_are_never_better_than_their_standard_lets_them_be() {
        // [IEC60228]: most ohm/km at 20 C, class 1 and class 5.
        for (mm2, class1, class5) in [
            (0.5, 36.0, 39.0),
            (0.75, 24.5, 26.0),
            (1.0, 18.1, 19.5),
            (1.5, 12.1, 13.3),
            (2.5, 7.41, 7.98),
            (4.0, 4.61, 4.95),
        ] {
            for (strand, most) in [(Strand::Solid, class1), (Strand::Stranded, class5)] {
                let ours = resistance(Gauge::Mm2(mm2), strand, Celsius::of(20.0)).get();
                assert!(ours >= most && ours < 1.035 * most, "{mm2} mm2 {strand:?}: {ours}, at most {most}");
            }
        }
    }

    #[test]
    fn worked_drops_come_out() {
        let at = |per_kft: f64, feet: f64, amps: f64| {
            drop(Metres::feet(feet), OhmsPerKm::per_kft(per_kft), Milliamps::of(amps * 1e3)).get()
        };
        // By hand [HAND26]: 2 x 0.1 kft x 4.99 ohm/kft x 4 A = 3.992 V, 16.63 % of 24 V.
        near(at(4.99, 100.0, 4.0), 3.992, 1e-9);
        near(at(4.99, 100.0, 4.0) / 24.0 * 100.0, 16.63, 0.005);
        // A pair of 18 AWG, solid, from its gauge alone: 2 x 6.385 ohm/kft [NBS100] are 1.277 V a 100 ft at 1 A, and 4.4695 V
        // over 350 ft. A published guide to such runs prints 1.27 and 4.445 [DROP18]: cut, within 0.6 %.
        let pair = solid(18, 20.0);
        near(at(pair, 100.0, 1.0), 1.277, 5e-4);
        near(at(pair, 100.0, 1.0), 1.27, 0.006 * 1.27);
        near(at(pair, 350.0, 1.0), 4.445, 0.006 * 4.445);
        // 2 A over 400 ft with 3 V to lose needs 1.875 ohm/kft at the most: 12 AWG is enough at 20 C (1.588) and 14 is not
        // (2.525) [NBS100].
        assert!(at(solid(12, 20.0), 400.0, 2.0) < 3.0 && at(solid(14, 20.0), 400.0, 2.0) > 3.0);
        // By hand [HAND26].
        near(at(7.77, 100.0, 0.5), 0.777, 1e-9);
        near(at(7.77, 250.0, 0.15), 0.5828, 1e-4);
        near(at(16.14, 100.0, 0.5), 1.614, 1e-9);
        near(at(16.14, 250.0, 0.15), 1.2105, 1e-9);
    }

    #[test]
    fn the_return_conductor_is_not_forgotten() {
        // 1500 ft of 6.51 ohm/kft at 0.3 A: counting one conductor gives 2.93 V, a mistake met in print; the current comes
        // back too: 5.859 V [HAND26].
        let (run, wire, current) = (Metres::feet(1_500.0), OhmsPerKm::per_kft(6.51), Milliamps::of(300.0));
        near(drop(run, wire, current).get(), 5.859, 1e-9);
        near((wire * run * current).get(), 2.93, 0.001);
    }

    #[test]
    fn the_longest_run_just_works() {
        // By hand [HAND26]: 4.4 V / (2 x 7.95 ohm/kft x 1 A) = 276.7 ft.
        let (source, least) = (Volts::of(20.4), Volts::of(16.0));
        let (wire, current) = (OhmsPerKm::per_kft(7.95), Milliamps::of(1_000.0));
        let run = longest(source, least, wire, current);
        near(run.in_feet(), 276.7, 0.05);
        near((source - drop(run, wire, current)).get(), 16.0, 1e-9);
        near(longest(least, source, wire, current).get(), 0.0, 0.0);
        assert!(longest(source, least, wire, Milliamps::of(0.0)).get().is_infinite());
    }

    #[test]
    fn sizes_are_read_in_both_systems_and_odd_ones_refused() {
        assert_eq!(Gauge::read("22 AWG"), Ok(Gauge::Awg(22)));
        assert_eq!(Gauge::read("0.75 mm2"), Ok(Gauge::Mm2(0.75)));
        for text in ["22", "22 gauge", "40 AWG", "0 AWG", "300 AWG", "0.75", "75 mm2", "NaN mm2", "", ".. mm2"] {
            assert!(Gauge::read(text).is_err(), "{text}");
        }
        assert!(Gauge::read("40 AWG").unwrap_err().contains("no signal wire"));
    }

    proptest! {
        #[test]
        fn thicker_cooler_and_solid_is_better(n in 9u8..=26, t in -20.0f64..70.0) {
            let at = |n, strand, t| resistance(Gauge::Awg(n), strand, Celsius::of(t)).get();
            prop_assert!(at(n - 1, Strand::Solid, t) < at(n, Strand::Solid, t));
            prop_assert!(at(n, Strand::Solid, t) < at(n, Strand::Stranded, t));
            prop_assert!(at(n, Strand::Solid, t) < at(n, Strand::Solid, t + 1.0));
        }
    }
}
