//! The pages in a real browser (Chromium, headless): drawn from simulated sites, and live from a watch on a site of
//! network namespaces. Accessibility by axe-core, run in the page.
//!
//! `PATHPROOF_SHOTS=DIRECTORY cargo test --test browser` keeps pictures of what was seen.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "figures and the place of kept logs go to who reads the log"
)]

mod drawn;
mod hand;
#[path = "../support/lateness.rs"]
mod lateness;
mod live;
mod papers;
#[path = "../lab/place.rs"]
#[allow(dead_code, reason = "the lab uses what this does not")]
mod place;
#[path = "../snapshots/mod.rs"]
mod snapshots;
