//! Units as types: a current can't be added to a charge, a length in feet can't be taken for metres.
//!
//! Decides which units a quantity may be entered in, and which values are absurd for a site's power (refused in words).
//! Each type holds one unit inside; what is entered in another is turned into it. Results of a computation are not held
//! to the limits of entry. Definitions: foot 0.3048 m and inch exact (international yard and pound agreement of 1959).
//!
//! ```compile_fail
//! use pathproof::worksheet::units::{AmpHours, Milliamps};
//! let wrong = Milliamps::of(75.0) + AmpHours::of(7.0);
//! ```
//! ```compile_fail
//! use pathproof::worksheet::units::{Metres, OhmsPerKm, Volts};
//! let wrong: Volts = OhmsPerKm::of(26.0) * Metres::of(30.0);
//! ```
//! ```
//! use pathproof::worksheet::units::{Hours, Metres, Milliamps, OhmsPerKm};
//! let drop = OhmsPerKm::of(26.0) * Metres::read("100 ft").unwrap() * Milliamps::of(500.0);
//! assert!((drop.get() - 0.39624).abs() < 1e-9);
//! let charge = Milliamps::read("0.25 A").unwrap() * Hours::of(24.0);
//! assert!((charge.get() - 6.0).abs() < 1e-9);
//! ```

pub use super::dimension::Dimension;
use super::dimension::said;

use serde::{Deserialize, Serialize};
use std::ops::{Add, Div, Mul, Sub};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $symbol:literal, $least:literal, $most:literal, [$(($unit:literal, $worth:expr, $zero:expr)),*]) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        // Never NaN: `of` refuses it, so equality is reflexive.
        impl Eq for $name {}

        impl $name {
            /// How it may be entered.
            pub const DIMENSION: Dimension =
                Dimension { symbol: $symbol, units: &[$(($unit, $worth, $zero)),*], least: $least, most: $most };

            #[doc = concat!("So many ", $symbol, ".")]
            ///
            /// # Panics
            /// On NaN, which is no quantity.
            pub const fn of(value: f64) -> Self {
                assert!(!value.is_nan(), "a quantity is a number");
                Self(value)
            }

            #[doc = concat!("The number of ", $symbol, ".")]
            pub const fn get(self) -> f64 {
                self.0
            }

            /// Reads what somebody entered, in any of its units. The error is what to write instead.
            pub fn read(text: &str) -> Result<Self, String> {
                Self::DIMENSION.read(text).map(Self)
            }

            /// The same quantity so many times.
            pub fn times(self, factor: f64) -> Self {
                Self::of(self.0 * factor)
            }

            /// The smaller.
            pub fn min(self, other: Self) -> Self {
                if other.0 < self.0 { other } else { self }
            }

            /// The larger.
            pub fn max(self, other: Self) -> Self {
                if other.0 > self.0 { other } else { self }
            }
        }

        impl TryFrom<f64> for $name {
            type Error = String;
            fn try_from(value: f64) -> Result<Self, String> {
                Self::DIMENSION.within(value).map(Self)
            }
        }

        impl From<$name> for f64 {
            fn from(q: $name) -> f64 {
                q.0
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::of(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::of(self.0 - other.0)
            }
        }

        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                all.fold(Self(0.0), |a, b| a + b)
            }
        }

        /// To three digits after the point at the most, with its unit.
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&said(self.0, if $symbol.is_empty() { "" } else { concat!(" ", $symbol) }))
            }
        }
    };
}

quantity!(
    /// An electric current. At most what fits a panel's output twenty times over.
    Milliamps, "mA", 0.0, 20_000.0, [("mA", 1.0, 0.0), ("A", 1_000.0, 0.0)]
);
quantity!(
    /// A battery's charge.
    AmpHours, "Ah", 0.05, 1_000.0, [("Ah", 1.0, 0.0), ("mAh", 0.001, 0.0)]
);
quantity!(
    /// A battery's energy.
    WattHours, "Wh", 0.5, 20_000.0, [("Wh", 1.0, 0.0), ("kWh", 1_000.0, 0.0)]
);
quantity!(
    /// A power.
    Watts, "W", 0.05, 2_000.0, [("W", 1.0, 0.0), ("mW", 0.001, 0.0)]
);
quantity!(
    /// A direct voltage. 60 V is where the low-voltage limits this sheet is for end (common practice, no source): mains is no entry here.
    Volts, "V", 0.5, 60.0, [("V", 1.0, 0.0), ("mV", 0.001, 0.0)]
);
quantity!(
    /// A resistance.
    Ohms, "ohm", 0.0, 10_000.0, [("ohm", 1.0, 0.0)]
);
quantity!(
    /// A conductor's resistance by length, one way.
    OhmsPerKm, "ohm/km", 0.01, 1_000.0, [("ohm/km", 1.0, 0.0), ("ohm/kft", 1_000.0 / 304.8, 0.0)]
);
quantity!(
    /// A length of cable.
    Metres, "m", 0.1, 2_000.0, [("m", 1.0, 0.0), ("ft", 0.3048, 0.0)]
);
quantity!(
    /// A length of time in which batteries are reckoned.
    Hours, "h", 0.0, 8_760.0, [("h", 1.0, 0.0), ("min", 1.0 / 60.0, 0.0), ("d", 24.0, 0.0)]
);
quantity!(
    /// A length of time in which batteries age.
    Years, "years", 0.0, 30.0, [("years", 1.0, 0.0), ("year", 1.0, 0.0), ("months", 1.0 / 12.0, 0.0)]
);
quantity!(
    /// A temperature.
    Celsius, "C", -40.0, 90.0, [("C", 1.0, 0.0), ("F", 5.0 / 9.0, -160.0 / 9.0)]
);
quantity!(
    /// How often a year.
    PerYear, "a year", 0.0, 300.0, []
);
quantity!(
    /// A battery's Peukert exponent.
    Exponent, "", 1.0, 1.6, []
);

macro_rules! product {
    ($a:ident * $b:ident = $c:ident, $scale:expr) => {
        impl Mul<$b> for $a {
            type Output = $c;
            fn mul(self, other: $b) -> $c {
                $c::of(self.0 * other.0 * $scale)
            }
        }
        impl Mul<$a> for $b {
            type Output = $c;
            fn mul(self, other: $a) -> $c {
                other * self
            }
        }
        impl Div<$b> for $c {
            type Output = $a;
            fn div(self, other: $b) -> $a {
                $a::of(self.0 / (other.0 * $scale))
            }
        }
    };
}

product!(Milliamps * Hours = AmpHours, 1e-3);
product!(AmpHours * Volts = WattHours, 1.0);
product!(Watts * Hours = WattHours, 1.0);
product!(Volts * Milliamps = Watts, 1e-3);
product!(OhmsPerKm * Metres = Ohms, 1e-3);
product!(Ohms * Milliamps = Volts, 1e-3);

impl Div<AmpHours> for AmpHours {
    type Output = f64;
    fn div(self, other: AmpHours) -> f64 {
        self.0 / other.0
    }
}

impl Div<Watts> for WattHours {
    type Output = Hours;
    fn div(self, other: Watts) -> Hours {
        Hours::of(self.0 / other.0)
    }
}

impl Metres {
    /// So many feet.
    pub fn feet(feet: f64) -> Self {
        Self::of(feet * 0.3048)
    }

    /// The length in feet.
    pub fn in_feet(self) -> f64 {
        self.0 / 0.3048
    }
}

impl OhmsPerKm {
    /// So many ohms per thousand feet, as tables of the trade print it.
    pub fn per_kft(ohms: f64) -> Self {
        Self::of(ohms / 0.3048)
    }

    /// Ohms per thousand feet.
    pub fn in_per_kft(self) -> f64 {
        self.0 * 0.3048
    }
}

impl Years {
    /// In words a person reads.
    pub fn words(self) -> String {
        if (self.0 - 1.0).abs() < 1e-9 { "1 year".into() } else { self.to_string() }
    }
}

impl Hours {
    /// So many minutes.
    pub const fn minutes(minutes: f64) -> Self {
        Self::of(minutes / 60.0)
    }

    /// The length in minutes.
    pub const fn in_minutes(self) -> f64 {
        self.0 * 60.0
    }

    /// In words a person reads: seconds under two minutes, minutes under two hours, hours above.
    pub fn words(self) -> String {
        if self.0.is_infinite() {
            "without end".into()
        } else if self.0 > 0.0 && self.0 < 2.0 / 60.0 {
            format!("{:.0} s", self.in_minutes() * 60.0)
        } else if self.0 < 2.0 {
            format!("{:.0} min", self.in_minutes())
        } else {
            format!("{:.1} h", self.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn both_systems_are_read_and_come_to_the_same() {
        assert_eq!(Metres::read("100 ft"), Ok(Metres::of(30.48)));
        assert_eq!(Metres::read("30.48m"), Ok(Metres::of(30.48)));
        assert!(Celsius::read("32 F").unwrap().get().abs() < 1e-9);
        assert!((Celsius::read("167 F").unwrap().get() - 75.0).abs() < 1e-9);
        assert_eq!(Milliamps::read("0.075 A"), Milliamps::read("75 mA"));
        // NEC chapter 9 table 8 prints 18 AWG solid as 7.77 ohm/kft and 25.49 ohm/km.
        assert!((OhmsPerKm::read("7.77 ohm/kft").unwrap().get() - 25.49).abs() < 0.005);
        assert_eq!(Hours::read("90 min"), Ok(Hours::of(1.5)));
    }

    #[test]
    fn absurd_values_are_refused_in_words() {
        for (said, part) in [
            (Milliamps::read("75 A").unwrap_err(), "more than makes sense"),
            (Milliamps::read("75").unwrap_err(), "with its unit: \"5 mA\" or \"5 A\""),
            (Milliamps::read("-5 mA").unwrap_err(), "less than makes sense"),
            (Volts::read("120 V").unwrap_err(), "write 60 V or less"),
            (AmpHours::read("7000 Ah").unwrap_err(), "see that the unit"),
            (AmpHours::read("7 Wh").unwrap_err(), "\"5 Ah\" or \"5 mAh\""),
            (Metres::read("40000 ft").unwrap_err(), "write 2000 m or less"),
            (Celsius::read("400 C").unwrap_err(), "write 90 C or less"),
            (Celsius::read("nan C").unwrap_err(), "with its unit"),
            (PerYear::DIMENSION.within(f64::NAN).unwrap_err(), "write a number"),
        ] {
            assert!(said.contains(part), "{said}");
        }
    }

    #[test]
    fn what_is_kept_comes_back() {
        let json = serde_json::to_string(&Milliamps::of(75.5)).unwrap();
        assert_eq!(serde_json::from_str::<Milliamps>(&json).unwrap(), Milliamps::of(75.5));
        assert!(serde_json::from_str::<Milliamps>("1e9").is_err());
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic_and_what_passes_is_within_its_limits(text in "\\PC{0,12}") {
            for dimension in [Milliamps::DIMENSION, Celsius::DIMENSION, PerYear::DIMENSION] {
                if let Ok(x) = dimension.read(&text) {
                    prop_assert!((dimension.least..=dimension.most).contains(&x));
                }
            }
        }

        #[test]
        fn products_and_quotients_undo_each_other(a in 1.0f64..1e4, b in 0.1f64..1e3) {
            let charge = Milliamps::of(a) * Hours::of(b);
            prop_assert!(((charge / Hours::of(b)).get() - a).abs() < 1e-9 * a);
            let drop = OhmsPerKm::of(a) * Metres::of(b) * Milliamps::of(70.0);
            prop_assert!((drop.get() - a * b * 70.0 * 1e-6).abs() <= 1e-12 * drop.get().abs());
        }
    }
}
