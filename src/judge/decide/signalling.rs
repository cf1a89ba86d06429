//! How a communicator tries, and how long an alarm may take. Decides what is taken where nobody says.

use crate::judge::facts::Micros;
use serde::{Deserialize, Serialize};

/// How a communicator tries.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signalling {
    /// When it tries, after the alarm; ascending, the first usually at once.
    pub retries: Vec<Micros>,
    /// Within which time the alarm must be through.
    pub within: Micros,
    /// True where the site file says so; else both are this project's choice.
    pub named: bool,
}

/// The schedule used when nobody names one (choice: at once, then waiting 5, 10, 20 and 40 s, each wait doubled).
pub const DEFAULT_RETRIES: [Micros; 5] =
    [Micros::ZERO, Micros::from_secs(5), Micros::from_secs(15), Micros::from_secs(35), Micros::from_secs(75)];
/// The time used when nobody names one: 90 s from event to station, a figure of fire practice (from memory)
/// [NFPA72], borrowed as a yardstick.
pub const DEFAULT_WITHIN: Micros = Micros::from_secs(90);

impl Default for Signalling {
    fn default() -> Self {
        Self { retries: DEFAULT_RETRIES.to_vec(), within: DEFAULT_WITHIN, named: false }
    }
}

impl Signalling {
    /// Attempts that come within the time, seconds after the alarm, ascending; the first one always.
    pub fn offsets(&self, within: Micros) -> Vec<f64> {
        let mut all: Vec<f64> = self.retries.iter().filter(|r| **r <= within).map(|r| r.secs()).collect();
        all.sort_by(f64::total_cmp);
        all.dedup();
        if all.is_empty() {
            all.push(0.0);
        }
        all
    }
}
