//! The evidence that requirements are held against: outages and what was not seen, no traces of single probes.

use crate::judge::decide::outage::Outage;
use crate::judge::decide::signalling::Signalling;
use crate::judge::facts::stretches;
use crate::judge::facts::{Micros, Moment};
use crate::judge::stats::duration::Lasted;

/// The evidence requirements are held against. Needs no traces of single probes: outages and what was not seen.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// Time from start to the last entry.
    pub elapsed: Micros,
    /// The outages that count, in order and disjoint.
    pub outages: Vec<Outage>,
    /// Time in which the path was not observed or that is left out as planned, in order and disjoint.
    pub unseen: Vec<(Moment, Moment)>,
    /// How much of the elapsed time was planned: nobody is asked to have watched it.
    pub planned: Micros,
    /// The site's supervision interval.
    pub supervision: Option<Micros>,
    /// How the site's communicator tries.
    pub signalling: Signalling,
    /// Share of attempts lost at random while the path is up.
    pub attempt_loss: f64,
}

impl Evidence {
    /// Evidence from outages alone, everything else seen and at its default.
    pub fn new(elapsed: Micros, outages: Vec<Outage>) -> Self {
        Self { elapsed, outages, ..Self::default() }
    }

    /// The last moment of it.
    pub fn now(&self) -> Moment {
        Moment(self.elapsed.0)
    }

    /// Time in which the path was observed.
    pub fn observed(&self) -> Micros {
        self.elapsed - stretches::total(&self.unseen)
    }

    /// Lengths of the outages, those still running so far.
    pub fn lasted(&self) -> Vec<Lasted> {
        self.outages.iter().map(|o| o.lasted(self.now())).collect()
    }

    /// Observed time that was not an outage, seconds.
    pub fn up_s(&self) -> f64 {
        (self.observed().secs() - self.lasted().iter().map(|o| o.seconds).sum::<f64>()).max(0.0)
    }

    /// The time an alarm has: the site file's, else the requirement's own.
    pub fn within(&self, otherwise_s: f64) -> Micros {
        if self.signalling.named { self.signalling.within } else { Micros((otherwise_s * 1e6) as i64) }
    }
}
