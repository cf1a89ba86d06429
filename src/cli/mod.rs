//! The command line: one file per command, one place for exit codes.

mod about;
pub mod check;
pub mod exit;
mod host;
mod live;
mod practice;
mod report;
mod result;
mod survey;

use clap::{Parser, Subcommand, ValueEnum};
use std::io::Write;
use std::path::PathBuf;

/// Judges whether a site's own internet connection can carry its alarm signals alone, and says how sure it is.
///
/// Burglary signalling only. Not listed equipment; not for fire, carbon monoxide, medical or hold-up decisions. Local
/// code and the authority having jurisdiction decide.
#[derive(Debug, Parser)]
#[command(name = "pathproof", version, after_help = EXIT_HELP)]
pub struct Options {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

const EXIT_HELP: &str = "\
Exit codes:
   0 IP alone is enough     10 mend this first
  11 add a cellular backup  12 keep watching
  20 the practice site's faults were not all seen as scripted
  64 usage                  65 no record of ours, or damaged
  66 no such file           70 internal
  74 input or output failed 77 not permitted
  78 the site file or the script is wrong
On the practice site, 0 means that every scripted fault was seen and nothing
was invented.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watch the site for a while and give a verdict with reasons.
    Survey(SurveyOptions),
    /// Say what is wrong with a site file, and what this host may and may not ask.
    Check {
        /// The site file; without one, only the host is looked at.
        file: Option<PathBuf>,
    },
    /// Judge a kept record again and print the same verdict.
    Report {
        /// The record.
        record: PathBuf,
        /// How to print it.
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
        /// Also write a self-contained HTML report here.
        #[arg(long, value_name = "FILE")]
        html: Option<PathBuf>,
    },
}

/// Options of `survey`.
#[derive(Debug, Parser)]
pub struct SurveyOptions {
    /// Site file (TOML); without one every value is found from the host.
    pub file: Option<PathBuf>,
    /// How long to watch, for example `20m` or `1h 30m`.
    #[arg(long = "for", value_name = "LENGTH", default_value = "20m", conflicts_with = "practice")]
    pub length: jiff::SignedDuration,
    /// Survey the built-in practice site: real packets in a virtual home, with scripted faults, no internet.
    #[arg(long, conflicts_with = "file")]
    pub practice: bool,
    /// Seed of the practice site's faults; the same seed plays the same faults.
    #[arg(long, requires = "practice", conflicts_with = "script")]
    pub seed: Option<u64>,
    /// Play this fault script on the practice site instead.
    #[arg(long, value_name = "FILE", requires = "practice")]
    pub script: Option<PathBuf>,
    /// How to print the result.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Where to keep the record; it must not exist yet.
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
    /// Where to write the HTML report; beside the record if not given.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Say what would be sent, to whom and how often, and stop before the first packet.
    #[arg(long, conflicts_with = "practice")]
    pub announce_only: bool,
}

/// How to print a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Words for people.
    Text,
    /// The snapshot as JSON (documented in src/show/json.md); nothing else on standard output.
    Json,
}

/// Runs a command; returns the exit code. Must be called while the process has one thread: the practice site needs it.
pub fn run(options: Options, out: &mut dyn Write, err: &mut dyn Write) -> i32 {
    log();
    match options.command {
        Command::Survey(o) => survey::run(&o, out, err),
        Command::Check { file } => check::run(file.as_deref(), out),
        Command::Report { record, format, html } => report::run(&record, format, html.as_deref(), out, err),
    }
}

/// What the program says of itself goes to standard error: warnings, or what `PATHPROOF_LOG` names (error to trace).
fn log() {
    let level = std::env::var("PATHPROOF_LOG").ok().and_then(|l| l.parse().ok()).unwrap_or(tracing::Level::WARN);
    // A second start in one process (tests) keeps the first.
    let _ = tracing_subscriber::fmt().with_max_level(level).with_writer(std::io::stderr).try_init();
}
