//! The survey report: the verdict first, then what it rests on; one file to hand over, print and defend, and the same as
//! text for a terminal.
//!
//! Decides which sections there are and their order; what stands in each is built in [`part`].

use super::paper::{Blocks, Kind, Paper, html, part, text};
use super::picture;
use super::words::{self, Clock, safe};
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;

/// The report as a self-contained HTML page, times in `zone`.
pub fn to_html(s: &Snapshot, zone: &TimeZone) -> String {
    let lanes = picture::lanes(s, zone, 760).map(|p| p.with_narrow(picture::lanes(s, zone, 340)));
    html::to_html(&report(s, zone, lanes))
}

/// The report as text of at most `width` columns. Ends with a newline.
pub fn to_text(s: &Snapshot, zone: &TimeZone, width: usize) -> String {
    text::to_text(&report(s, zone, None), width)
}

fn report(s: &Snapshot, zone: &TimeZone, lanes: Option<picture::Picture>) -> Paper {
    let clock = Clock::new(s, zone);
    let day = words::zoned(s.wall(0.0), zone).strftime("%-d %B %Y");
    let kicker = format!("Alarm path survey, site {}, {day}", safe(&s.site));
    let mut paper = Paper::new(Kind::Report, &kicker, &words::verdict(s));
    let b = &mut paper.blocks;
    if !s.verdict().sentence.is_empty() {
        b.lead(&safe(&s.verdict().sentence));
    }
    part::sure(b, s);
    part::today(b, s);
    part::reasons(b, s);
    part::wrong(b, s);
    part::what_could_change(b, s);
    part::mending(b, s);
    part::requirements(b, s);
    part::weighed(b, s);
    part::answers(b, s);
    if lanes.is_some() {
        b.part("diagram", "The lanes over time").picture(lanes);
    }
    happened(b, s, &clock);
    part::unseen(b, s);
    part::figures(b, s);
    part::facts(b, s);
    part::cautions(b, s);
    b.part("record", "This record").pairs(part::identity(s, zone));
    paper
}

fn happened(b: &mut Blocks, s: &Snapshot, clock: &Clock<'_>) {
    b.part("happened", "What happened").say(words::troubles(s));
    part::happened(b, s, clock);
}
