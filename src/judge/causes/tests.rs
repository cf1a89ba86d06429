//! Every cause by a script of what the probes would have seen, and the look-alikes side by side.

mod beside;
mod home;
mod line;
mod look_alikes;
mod power;
mod published;

use crate::judge::kit::Site;
use crate::judge::{Cause, Look, Trouble};

/// The troubles' causes, in order of time.
fn causes(look: &Look) -> Vec<&'static str> {
    look.troubles.iter().map(|t| t.cause.word()).collect()
}

/// The one trouble there is, with this cause.
fn only(site: &Site, cause: Cause) -> Trouble {
    let look = site.look();
    assert_eq!(causes(&look), [cause.word()], "{}", look.troubles.iter().map(brief).collect::<String>());
    look.troubles[0].clone()
}

/// How likely a cause is by this trouble: named or not excluded.
fn likely(t: &Trouble, cause: Cause) -> f64 {
    if t.cause == cause { t.confidence } else { t.alternatives.iter().find(|a| a.0 == cause).map_or(0.0, |a| a.1) }
}

/// A trouble in a few lines.
fn brief(t: &Trouble) -> String {
    let clues: Vec<String> = t.clues.iter().map(|c| format!("{:?}={} {:+.1}", c.sign, c.holds, c.weight)).collect();
    let span = |s: &crate::judge::Span| {
        format!(
            "{:?} {:?} {:.0}..{:?}",
            s.lane,
            s.oddity,
            s.start.midpoint().secs(),
            s.end.map(|e| e.midpoint().secs())
        )
    };
    format!(
        "\n{} {:.2} besides {:?}\n  {}\n  followed by {:?}\n  {}",
        t.cause.word(),
        t.confidence,
        t.alternatives,
        span(&t.root),
        t.followers.iter().map(span).collect::<Vec<_>>(),
        clues.join(", ")
    )
}
