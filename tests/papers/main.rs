//! The papers of eight simulated sites: golden files, what stands in them traced back to the snapshot, and every form
//! telling the same.
//!
//! `PATHPROOF_GOLDEN=write cargo test --test papers` writes the golden files anew; read the difference before
//! committing it.

#![expect(clippy::print_stdout, reason = "figures are printed for whoever looks, with --nocapture")]

#[path = "../snapshots/mod.rs"]
mod snapshots;

mod commands;
mod forms;
mod golden;
mod hostile;
mod ids;
#[path = "../support/lateness.rs"]
mod lateness;
mod one_number;
mod reading;
mod speed;
mod told;
mod trace;

use pathproof::judge::WallTime;
use pathproof::show::paper::survey_record::{Entered, survey_record};
use pathproof::show::paper::{Given, Origin, Paper, letter, ticket};
use pathproof::snapshot::Snapshot;
use pathproof::worksheet::given::Power;
use std::sync::OnceLock;

/// Where the papers of the tests come from.
pub(crate) fn origin() -> Origin {
    Origin {
        record: Some("home.db".into()),
        sha256: Some("0123456789abcdef".repeat(4)),
        plan_sha256: Some("fedcba9876543210".repeat(4)),
        boot: Some("0a1b2c3d".into()),
        made: Some(WallTime(1_773_830_530_000_000)),
        unmasked: false,
    }
}

/// The eight sites judged, once for all tests.
pub(crate) fn judged() -> &'static [(&'static str, Snapshot)] {
    static ALL: OnceLock<Vec<(&'static str, Snapshot)>> = OnceLock::new();
    ALL.get_or_init(|| snapshots::judged(&snapshots::papered()))
}

/// What was entered about every site.
pub(crate) fn entered() -> Entered {
    let own = |pairs: &[(&str, &str)]| pairs.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
    Entered {
        plain: own(&[("Access line", "fibre"), ("Receiver", "main: 203.0.113.20, port 4500, tcp")]),
        personal: own(&[("Communicator's hardware address", "02:00:5e:10:00:01")]),
        secret: own(&[("Activation code", "A1B2-C3D4")]),
    }
}

/// What is known of its power: only of the site that its power decides.
pub(crate) fn power(s: &Snapshot) -> Power {
    if !s.site.ends_with("power-bound") {
        return Power::default();
    }
    snapshots::farmhouse()
}

/// Every paper of a snapshot, with a word for each.
pub(crate) fn papers(s: &Snapshot) -> Vec<(&'static str, Paper)> {
    let (zone, origin) = (snapshots::zone(), origin());
    let given = Given { snapshot: s, zone: &zone, origin: &origin };
    vec![
        ("letter", letter::letter(&given)),
        ("ticket", ticket::ticket(&given)),
        ("survey-record", survey_record(&given, &entered(), &power(s))),
    ]
}
