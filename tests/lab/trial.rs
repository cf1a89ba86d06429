//! A trial: one scripted fault on a lab site, its truth as the script knows it, and what the survey made of it.
//!
//! A trial file holds a [`Trial`]: which causes are right, and a script that makes the fault at a random time and says
//! when. The survey is seen from outside only. Edges and detection are measured against the script's own clock.

use crate::place::{Place, Running};
use crate::row::{Row, compare};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};

/// One scripted fault.
pub(crate) struct Trial {
    /// Its name, short enough for a namespace.
    pub(crate) name: &'static str,
    /// Added to the site file.
    pub(crate) site: &'static str,
    /// Servers and addresses it needs before the survey starts.
    pub(crate) prepare: fn(&mut Place),
    /// Makes the fault and says what was true.
    pub(crate) play: fn(&mut Script<'_>),
    /// Length of the survey, seconds.
    pub(crate) seconds: u32,
}

/// Where the one stands who has to mend a fault, as it was made: the installer and the customer are both at the site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Side {
    Site,
    Provider,
    Station,
    Nobody,
}

impl Side {
    /// Whether the one whom a trouble names (`who`) stands there.
    pub(crate) fn has(self, who: &str) -> bool {
        match self {
            Self::Site => matches!(who, "customer" | "installer"),
            Self::Provider => who == "provider",
            Self::Station => who == "station",
            Self::Nobody => who == "nobody",
        }
    }
}

/// Whether the edges of a fault are held to the second. None is let off without a reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Edges {
    Held,
    /// Its edges are nothing that a watch by the second could see; why.
    Waived(&'static str),
    /// Another trouble hides them, or fits its time better than its own; why.
    Hidden(&'static str),
}

/// One fault as it was made.
#[derive(Clone, Debug)]
pub(crate) struct Truth {
    /// The one cause that is right.
    pub(crate) cause: &'static str,
    pub(crate) side: Side,
    /// What this host can't tell from it: each may be said first, and then all the others must be named beside it.
    pub(crate) alike: &'static [&'static str],
    /// Seconds since the survey's start.
    pub(crate) from: f64,
    pub(crate) to: Option<f64>,
    /// When the script set about each: what makes a fault takes as long as its commands.
    pub(crate) about: [f64; 2],
    pub(crate) edges: Edges,
}

impl Truth {
    /// The same by another time.
    pub(crate) fn by(self, time: impl Fn(f64) -> f64) -> Self {
        Self { from: time(self.from), to: self.to.map(&time), about: self.about.map(&time), ..self }
    }

    /// The cause and all that looks like it.
    pub(crate) fn accepted(&self) -> impl Iterator<Item = &'static str> {
        std::iter::once(self.cause).chain(self.alike.iter().copied())
    }
}

/// What a script works with.
pub(crate) struct Script<'a> {
    pub(crate) place: &'a mut Place,
    pub(crate) running: &'a Running,
    start: f64,
    /// When the last wait was over.
    waited: std::cell::Cell<f64>,
    truths: Vec<Truth>,
}

impl Script<'_> {
    /// Waits for the trial's random moment.
    pub(crate) fn wait_for_start(&self) {
        self.running.until(self.start);
        self.waited.set(self.running.now());
    }

    /// Waits so many seconds more.
    pub(crate) fn pause(&self, seconds: f64) {
        self.running.until(self.running.now() + seconds);
        self.waited.set(self.running.now());
    }

    /// A fault that began just now, by this cause; returns its number.
    pub(crate) fn began(&mut self, side: Side, cause: &'static str) -> usize {
        let (from, about) = (self.running.now(), [self.waited.get(); 2]);
        self.truths.push(Truth { cause, side, alike: &[], from, to: None, about, edges: Edges::Held });
        self.truths.len() - 1
    }

    /// It ended just now.
    pub(crate) fn ended(&mut self, number: usize) {
        (self.truths[number].to, self.truths[number].about[1]) = (Some(self.running.now()), self.waited.get());
    }

    /// What looks the same from this host, so that it may be said as well, and must be named beside what is said.
    pub(crate) fn looks_like(&mut self, number: usize, alike: &'static [&'static str]) {
        self.truths[number].alike = alike;
    }

    /// Lets a fault off being held to the second.
    pub(crate) fn edges(&mut self, number: usize, edges: Edges) {
        self.truths[number].edges = edges;
    }
}

/// Plays a trial at the time its seed gives.
pub(crate) fn play(trial: &Trial, seed: u64) -> Row {
    let mut draw = Xoshiro256PlusPlus::seed_from_u64(seed ^ trial.name.bytes().fold(0, |h, b| h * 31 + u64::from(b)));
    let start = 15.0 + 10.0 * draw.random::<f64>();
    let mut place = Place::new(trial.name);
    place.site_file(trial.site);
    (trial.prepare)(&mut place);
    let running = place.begin(trial.seconds, &[]);
    let waited = std::cell::Cell::new(0.0);
    let mut script = Script { place: &mut place, running: &running, start, waited, truths: Vec::new() };
    (trial.play)(&mut script);
    let truths = script.truths;
    let said = place.end(running);
    let row = compare(trial, seed, truths, &said);
    if !row.is_sound() {
        place.keep_logs();
    }
    row
}
