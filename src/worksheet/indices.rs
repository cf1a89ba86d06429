//! Interruption indices of IEEE 1366: the published figures of the US states.
//!
//! Decides nothing of a site: an index is the average customer of an area. Sustained means longer than five minutes; one
//! of exactly 300 s is momentary [IEEE1366] (some authorities put the border the other way). Data [EIA23]: EIA, Electric Power
//! Annual, tables 11.1 and 11.2, in `config/mains/us-interruptions.csv`, a US government work.

use super::units::{Hours, PerYear};

const CSV: &str = include_str!("../../config/mains/us-interruptions.csv");

/// Where the figures come from.
pub const SOURCE: &str = "EIA Electric Power Annual, tables 11.1 and 11.2, IEEE method, 2022 and 2023";

/// How often, and how long on average.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Indices {
    /// Sustained interruptions a customer and year (SAIFI).
    pub saifi: PerYear,
    /// Their mean length (CAIDI).
    pub caidi: Hours,
}

impl Indices {
    /// Time interrupted a customer and year (SAIDI).
    pub fn saidi(self) -> Hours {
        self.caidi.times(self.saifi.get())
    }
}

/// One year of one area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Minutes a year.
    pub saidi: f64,
    /// Interruptions a year.
    pub saifi: f64,
    /// Minutes.
    pub caidi: f64,
}

/// What is published of one area; a year without figures is left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    /// Its name.
    pub name: &'static str,
    /// Every event counted, oldest year first.
    pub all: Vec<Row>,
    /// Without major event days.
    pub ordinary: Vec<Row>,
}

/// The row that is no state.
const AVERAGE: &str = "United States average";

/// Words for the areas, as a site file writes them, in the order of the data.
pub const AREAS: &[&str] = &[
    "connecticut",
    "maine",
    "massachusetts",
    "new-hampshire",
    "rhode-island",
    "vermont",
    "new-jersey",
    "new-york",
    "pennsylvania",
    "illinois",
    "indiana",
    "michigan",
    "ohio",
    "wisconsin",
    "iowa",
    "kansas",
    "minnesota",
    "missouri",
    "nebraska",
    "north-dakota",
    "south-dakota",
    "delaware",
    "district-of-columbia",
    "florida",
    "georgia",
    "maryland",
    "north-carolina",
    "south-carolina",
    "virginia",
    "west-virginia",
    "alabama",
    "kentucky",
    "mississippi",
    "tennessee",
    "arkansas",
    "louisiana",
    "oklahoma",
    "texas",
    "arizona",
    "colorado",
    "idaho",
    "montana",
    "nevada",
    "new-mexico",
    "utah",
    "wyoming",
    "california",
    "oregon",
    "washington",
    "alaska",
    "hawaii",
    "united-states-average",
];

/// The published figures of every area.
pub fn areas() -> Vec<Area> {
    CSV.lines().filter(|l| !l.starts_with('#')).skip(1).map(area).collect()
}

fn area(line: &'static str) -> Area {
    let mut cells = line.split(',');
    let name = cells.next().unwrap_or_default();
    let numbers: Vec<Option<f64>> = cells.map(|c| c.parse().ok()).collect();
    let year = |at: usize| {
        let cell = |i: usize| numbers.get(at + i).copied().flatten();
        Some(Row { saidi: cell(0)?, saifi: cell(1)?, caidi: cell(2)? })
    };
    Area {
        name,
        all: [0, 3].into_iter().filter_map(year).collect(),
        ordinary: [6, 9].into_iter().filter_map(year).collect(),
    }
}

/// The area a word of the site file means.
pub fn published(word: &str) -> Option<Area> {
    let at = AREAS.iter().position(|a| *a == word)?;
    areas().into_iter().nth(at)
}

/// The mean of some years: frequencies and times are averaged, and the mean length follows from them. `None` of none.
pub fn mean(years: &[Row]) -> Option<Indices> {
    let n = years.len() as f64;
    let often = years.iter().map(|r| r.saifi).sum::<f64>() / n;
    let minutes = years.iter().map(|r| r.saidi).sum::<f64>() / n;
    (n > 0.0 && often > 0.0).then(|| Indices { saifi: PerYear::of(often), caidi: Hours::minutes(minutes / often) })
}

/// How far one published year lies from an area's level: standard deviation of ln SAIDI, from the two years of every
/// state. Half the mean squared difference of two draws is their variance.
pub fn spread_of_years() -> f64 {
    let squares: Vec<f64> = areas()
        .iter()
        .filter(|a| a.name != AVERAGE)
        .filter_map(|a| match a.all.as_slice() {
            [first, second] => Some((second.saidi / first.saidi).ln().powi(2)),
            _ => None,
        })
        .collect();
    (squares.iter().sum::<f64>() / squares.len() as f64 / 2.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_area_divides_as_it_should() {
        // [EIA23] tables 11.1 and 11.2: CAIDI = SAIDI / SAIFI within 0.25 min on every published row (0.23 of the states,
        // 0.17 of the US).
        let areas = areas();
        assert_eq!(areas.len(), 52, "50 states, the District and the average");
        let mut rows = 0;
        for a in &areas {
            for r in a.all.iter().chain(&a.ordinary) {
                assert!((r.caidi - r.saidi / r.saifi).abs() < 0.25, "{}: {r:?}", a.name);
                rows += 1;
            }
        }
        // Hawaii has one row of four.
        assert_eq!(rows, 52 * 4 - 3);
        assert!(areas.iter().all(|a| !a.all.is_empty()));
    }

    #[test]
    fn known_rows_are_read_as_published() {
        // Table 11.2, 2023, all events [EIA23].
        for (word, saidi, saifi, caidi) in [
            ("texas", 583.1, 1.889, 308.7),
            ("california", 352.5, 1.409, 250.2),
            ("florida", 172.3, 0.982, 175.5),
            ("new-york", 204.8, 1.127, 181.7),
            ("illinois", 210.4, 0.833, 252.4),
            ("oklahoma", 1_339.4, 2.079, 644.3),
            ("arizona", 103.8, 0.951, 109.2),
            ("washington", 153.8, 1.050, 146.5),
            ("united-states-average", 366.6, 1.348, 271.8),
        ] {
            let last = *published(word).expect(word).all.last().expect("2023");
            assert_eq!((last.saidi, last.saifi, last.caidi), (saidi, saifi, caidi), "{word}");
        }
        for (word, area) in AREAS.iter().zip(areas()) {
            assert_eq!(area.name.to_lowercase().replace(' ', "-"), *word);
        }
        assert_eq!(published("atlantis"), None);
    }

    #[test]
    fn every_year_of_the_country_divides_as_it_should() {
        // [EIA23] table 11.1, 2013 to 2023: SAIDI, SAIFI and CAIDI by the IEEE method, all events and without major
        // event days, then by any method likewise. Within 0.17 min.
        let rows = [
            [227.2, 1.187, 191.5, 111.9, 0.994, 112.6, 215.7, 1.200, 179.8, 106.1, 0.992, 106.9],
            [236.2, 1.257, 188.0, 114.2, 1.038, 110.0, 219.0, 1.220, 179.6, 109.7, 1.019, 107.7],
            [209.0, 1.275, 163.9, 117.0, 1.073, 109.1, 205.0, 1.246, 164.5, 113.1, 1.046, 108.1],
            [268.4, 1.327, 202.2, 119.8, 1.082, 110.7, 249.2, 1.292, 192.9, 116.9, 1.062, 110.0],
            [505.9, 1.420, 356.2, 117.0, 1.023, 114.3, 473.1, 1.394, 339.3, 114.4, 1.007, 113.6],
            [349.2, 1.340, 260.5, 121.4, 1.051, 115.5, 346.4, 1.325, 261.5, 117.2, 1.028, 114.0],
            [295.5, 1.332, 221.8, 122.2, 1.040, 117.5, 284.6, 1.325, 214.8, 118.6, 1.017, 116.6],
            [456.1, 1.385, 329.3, 116.0, 1.013, 114.5, 491.9, 1.440, 341.7, 119.0, 1.037, 114.7],
            [475.8, 1.436, 331.2, 125.7, 1.039, 120.9, 440.0, 1.425, 308.8, 121.5, 1.025, 118.5],
            [333.0, 1.426, 233.5, 131.1, 1.090, 120.2, 335.5, 1.405, 238.8, 125.7, 1.064, 118.1],
            [366.6, 1.348, 271.8, 123.9, 1.022, 121.3, 342.0, 1.333, 256.6, 118.4, 0.999, 118.5],
        ];
        for (year, row) in (2013..).zip(rows) {
            for [saidi, saifi, caidi] in row.as_chunks::<3>().0 {
                let i = Indices { saifi: PerYear::of(*saifi), caidi: Hours::minutes(*caidi) };
                assert!((i.saidi().in_minutes() - saidi).abs() <= 0.17 * saifi + 1e-9, "{year}: {saidi}");
                assert!((saidi / saifi - caidi).abs() <= 0.17, "{year}: {caidi}");
            }
        }
    }

    #[test]
    fn the_medians_and_extremes_are_those_of_the_table() {
        // [EIA23] table 11.2, 2023, all events, 51 rows: least, median, most, sorted elsewhere [CALC26].
        let states = &areas()[..51];
        let of = |f: fn(&Row) -> f64| {
            let mut all: Vec<f64> = states.iter().map(|a| f(a.all.last().expect("2023"))).collect();
            all.sort_by(f64::total_cmp);
            (all[0], all[25], all[50])
        };
        assert_eq!(of(|r| r.saidi), (69.4, 248.8, 1_863.0));
        assert_eq!(of(|r| r.saifi), (0.370, 1.143, 3.922));
        assert_eq!(of(|r| r.caidi), (63.4, 181.7, 730.9));
    }

    #[test]
    fn years_differ_by_about_half() {
        // From the data themselves, without Hawaii: 0.5196.
        assert!((spread_of_years() - 0.52).abs() < 0.005, "{}", spread_of_years());
        let texas = mean(&published("texas").expect("a state").all).expect("two years");
        assert!(texas.saidi().in_minutes() > 0.0 && mean(&[]).is_none());
    }
}
