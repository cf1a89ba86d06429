//! `pathproof report RECORD --as PAPER`: a letter, tickets or a survey record, printed or written to files.
//!
//! Decides where a paper goes and what is said of the record it comes from. What stands in it is decided in `show`.

use super::about::About;
use super::archive::{hex, sha256_of};
use super::entered;
use super::exit::CommandError;
use super::options::{Format, PaperKind, ReportOptions};
use super::result::WIDTH;
use crate::judge::{Judge, WallTime};
use crate::show::escape::terminal;
use crate::show::paper::{Given, Origin, Paper, letter, survey_record, ticket, to_html, to_json, to_text};
use crate::site::SiteFile;
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;
use ring::digest::SHA256;
use std::io::Write;
use std::path::Path;

/// A form a paper can be written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Html,
    Text,
    Json,
    #[cfg(feature = "pdf")]
    Pdf,
}

impl Form {
    /// The form a file's name asks for.
    pub(super) fn of(file: &Path) -> Result<Self, CommandError> {
        match file.extension().and_then(|e| e.to_str()) {
            Some("html") => Ok(Self::Html),
            Some("txt") => Ok(Self::Text),
            Some("json") => Ok(Self::Json),
            #[cfg(feature = "pdf")]
            Some("pdf") => Ok(Self::Pdf),
            #[cfg(not(feature = "pdf"))]
            Some("pdf") => Err(CommandError::Usage(format!("{}: this program was built without PDF", file.display()))),
            _ => Err(CommandError::Usage(format!(
                "{}: a paper's file name ends in .html, .pdf, .txt or .json",
                file.display()
            ))),
        }
    }

    fn bytes(self, paper: &Paper) -> Vec<u8> {
        match self {
            Self::Html => to_html(paper).into_bytes(),
            Self::Text => to_text(paper, WIDTH).into_bytes(),
            Self::Json => to_json(paper).into_bytes(),
            #[cfg(feature = "pdf")]
            Self::Pdf => crate::show::paper::to_pdf(paper),
        }
    }
}

/// Writes the paper to every file asked for, or prints it. False where a file could not be written.
pub(super) fn show(
    kind: PaperKind,
    o: &ReportOptions,
    record: &Path,
    (judge, about, snapshot): (&Judge, &About, &Snapshot),
    site: Option<&SiteFile>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<bool, CommandError> {
    let zone = TimeZone::system();
    let origin = origin(o, record, judge, about);
    let given = Given { snapshot, zone: &zone, origin: &origin };
    let paper = match kind {
        PaperKind::Letter => letter::letter(&given),
        PaperKind::Ticket => ticket::ticket(&given),
        PaperKind::SurveyRecord => survey_record::survey_record(
            &given,
            &entered::of(&about.plan, site),
            &site.map_or(&about.plan.background, |f| &f.background).power(&about.plan.site),
        ),
    };
    let mut whole = true;
    for file in &o.out {
        let form = Form::of(file)?;
        if let Err(e) = std::fs::write(file, form.bytes(&paper)) {
            whole = false;
            writeln!(err, "The paper could not be written to {}: {e}", terminal(&file.display().to_string()))?;
        }
    }
    if o.out.is_empty() {
        let form = if o.format == Format::Json { Form::Json } else { Form::Text };
        out.write_all(&form.bytes(&paper))?;
    }
    out.flush()?;
    Ok(whole)
}

fn origin(o: &ReportOptions, record: &Path, judge: &Judge, about: &About) -> Origin {
    let plan = serde_json::to_vec(&about.plan).unwrap_or_default();
    Origin {
        // A record out of a bundle lies elsewhere, under a name of its own.
        record: (o.record == record).then(|| o.record.file_name().map(|n| n.to_string_lossy().into_owned())).flatten(),
        sha256: if whole_in_one_file(record) { sha256_of(record).ok() } else { None },
        plan_sha256: Some(hex(ring::digest::digest(&SHA256, &plan).as_ref())),
        boot: judge.sessions().last().map(|s| s.boot_id.chars().take(8).collect()),
        made: Some(WallTime(jiff::Timestamp::now().as_microsecond())),
        unmasked: o.unmasked,
    }
}

/// Whether the file holds all of the record: while it is written, or after a kill, the rest is in the log beside it.
fn whole_in_one_file(record: &Path) -> bool {
    let mut log = record.as_os_str().to_owned();
    log.push("-wal");
    std::fs::metadata(log).map_or(true, |m| m.len() == 0)
}
