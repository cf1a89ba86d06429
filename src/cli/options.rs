//! What may stand on the command line: one definition for parsing, help, manual pages and completions.

use crate::serve::Prefix;
use clap::{Parser, Subcommand, ValueEnum};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::str::FromStr;

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
  21 a drill was cut short
A drill that was not ends with 0, or with 10 where the path gave out too soon or
a receiver was not reached.
  64 usage                  65 no record of ours, or damaged
  66 no such file           70 internal
  74 input or output failed 75 another agent writes to the record
  77 not permitted          78 the site file or the script is wrong
On the practice site, 0 means that every scripted fault was seen and nothing
was invented.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watch the site for a while and give a verdict with reasons.
    Survey(SurveyOptions),
    /// Watch the site unattended, for weeks or years; goes on with the same record after a stop.
    Watch(WatchOptions),
    /// Say what is wrong with a site file, and what this host may and may not ask.
    Check {
        /// The site file; without one, only the host is looked at.
        file: Option<PathBuf>,
    },
    /// Work out the power and wiring sheet of a site file. Sends nothing.
    ///
    /// Auxiliary current, standby battery, wire, run times, the chain of boxes and what mains costs the path in a year,
    /// each line with its formula, inputs, result and source. Ends with 0 whatever the sheet says.
    Power {
        /// The site file.
        file: PathBuf,
        /// A record with drills at this site: what they measured goes before what was entered or worked out.
        #[arg(long, value_name = "RECORD")]
        drills: Vec<PathBuf>,
        /// How to print it.
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
        /// Also write a self-contained HTML sheet here.
        #[arg(long, value_name = "FILE")]
        html: Option<PathBuf>,
    },
    /// Do something to the site on purpose, with permission, and time what it does. Cautions come first.
    ///
    /// What is measured goes to the record with its date; nothing in a drill counts for or against the path. It is safe to
    /// stop at any moment. Questions can be answered from a pipe: one line for each.
    Drill(DrillOptions),
    /// Judge a kept record again and print the same verdict, or a paper made from it.
    Report(ReportOptions),
    /// Put a record, its report and the site file into one file, for support. What works like a key is taken out.
    Bundle(BundleOptions),
    /// Print a record for other programs, whole or a span of it.
    Export(ExportOptions),
    /// Delete a record, or what was seen before or after a moment. What is deleted is gone.
    Forget(ForgetOptions),
}

/// Options of `watch`.
#[derive(Debug, Parser)]
#[command(after_help = "SIGHUP: read the site file again. SIGTERM, SIGINT: stop cleanly (exit code 0).")]
pub struct WatchOptions {
    /// Site file (TOML); without one every value is found from the host.
    pub file: Option<PathBuf>,
    /// The record: made if it is not there, gone on with if it is.
    #[arg(long, value_name = "FILE", required_unless_present = "announce_only")]
    pub record: Option<PathBuf>,
    /// Say what would be sent, to whom and how often, and stop before the first packet.
    #[arg(long)]
    pub announce_only: bool,
    /// Where metrics are served, or `off`. Without this, on 127.0.0.1:9750 where that port is free.
    #[arg(long, value_name = "ADDRESS:PORT|off")]
    pub metrics: Option<ServedAt>,
    /// A name under which scrapers may ask, beside addresses and localhost.
    #[arg(long, value_name = "NAME")]
    pub metrics_name: Vec<String>,
    /// A file whose first line scrapers must show as a bearer token: a token, or `sha256:` and its hash. Needed for any
    /// address but this host's own.
    #[arg(long, value_name = "FILE")]
    pub metrics_token: Option<PathBuf>,
    /// Where the page and its API are served, or `off`. Without this, on 127.0.0.1:9760 where that port is free.
    #[arg(long, value_name = "ADDRESS:PORT|off")]
    pub page: Option<ServedAt>,
    /// A file whose first line whoever looks must show: a token, or `sha256:` and its hash. For any address but this
    /// host's own this or --page-allow is needed.
    #[arg(long, value_name = "FILE")]
    pub page_token: Option<PathBuf>,
    /// Who need not show a token, for example 192.0.2.0/24.
    #[arg(long, value_name = "ADDRESS/PREFIX")]
    pub page_allow: Vec<Prefix>,
    /// A name under which the page may be opened, beside addresses and localhost.
    #[arg(long, value_name = "NAME")]
    pub page_name: Vec<String>,
    /// A certificate (PEM) to serve the page with; without one, it makes its own where the address is not this host's own.
    #[arg(long, value_name = "FILE", requires = "page_key")]
    pub page_cert: Option<PathBuf>,
    /// The key of that certificate (PEM).
    #[arg(long, value_name = "FILE", requires = "page_cert")]
    pub page_key: Option<PathBuf>,
}

/// Where metrics or the page are served.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ServedAt {
    /// Nowhere.
    Off,
    /// On this address and port.
    Address(SocketAddr),
}

impl FromStr for ServedAt {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "off" {
            return Ok(Self::Off);
        }
        text.parse().map(Self::Address).map_err(|_| "give an address and a port, as in 127.0.0.1:9750, or off".into())
    }
}

/// How to export a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ExportFormat {
    /// Comma-separated values with a header line (RFC 4180).
    Csv,
    /// A JSON object a line.
    Jsonl,
}

/// Options of `export`.
#[derive(Debug, Parser)]
pub struct ExportOptions {
    /// The record.
    #[arg(required_unless_present = "columns")]
    pub record: Option<PathBuf>,
    /// CSV or JSON lines.
    #[arg(long, value_enum, default_value_t = ExportFormat::Csv)]
    pub format: ExportFormat,
    /// Leave out what was before this, for example `2026-05-01T00:00:00Z`.
    #[arg(long, value_name = "TIME")]
    pub from: Option<jiff::Timestamp>,
    /// Leave out this and what was after it.
    #[arg(long, value_name = "TIME")]
    pub to: Option<jiff::Timestamp>,
    /// Say what the columns mean, and stop.
    #[arg(long)]
    pub columns: bool,
}

/// Options of `report`.
#[derive(Debug, Parser)]
pub struct ReportOptions {
    /// The record, or a bundle with one in it.
    pub record: PathBuf,
    /// Make this paper instead: a letter for the homeowner, tickets for the dealer, or the survey record for the
    /// customer file.
    #[arg(long = "as", value_enum, value_name = "PAPER", conflicts_with = "html")]
    pub paper: Option<PaperKind>,
    /// Write the paper here, as its name ends: .html, .pdf, .txt or .json. May be given more than once. Without it the paper
    /// is printed.
    #[arg(long, value_name = "FILE", requires = "paper")]
    pub out: Vec<PathBuf>,
    /// The site file as it is now, for the survey record: what activates the communicator, and its power. Else what the
    /// record keeps of it.
    #[arg(long, value_name = "FILE", requires = "paper")]
    pub site: Option<PathBuf>,
    /// Show hardware and public addresses as they are; else the part that tells one device or home from another is hidden.
    #[arg(long, requires = "paper")]
    pub unmasked: bool,
    /// How to print it.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Also write a self-contained HTML report here.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
}

/// Options of `bundle`.
#[derive(Debug, Parser)]
pub struct BundleOptions {
    /// The record. It may be written to meanwhile.
    pub record: PathBuf,
    /// The file to make; it must not exist yet. `pathproof report` opens it.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// The site file to put in.
    #[arg(long, value_name = "FILE")]
    pub site: Option<PathBuf>,
}

/// A paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PaperKind {
    /// One page for the homeowner: the last week.
    Letter,
    /// For the dealer: each outage, what comes again, what lasts.
    Ticket,
    /// For the customer file, with places to sign.
    SurveyRecord,
}

/// Options of `forget`.
#[derive(Debug, Parser)]
#[command(group(clap::ArgGroup::new("what").required(true).multiple(true).args(["before", "after", "all"])))]
pub struct ForgetOptions {
    /// The record.
    pub record: PathBuf,
    /// Delete what was seen before this, for example `2026-05-01T00:00:00Z`.
    #[arg(long, value_name = "TIME")]
    pub before: Option<jiff::Timestamp>,
    /// Delete what was seen at this and after it.
    #[arg(long, value_name = "TIME")]
    pub after: Option<jiff::Timestamp>,
    /// Delete the whole record, and what was kept of damaged ones.
    #[arg(long, conflicts_with_all = ["before", "after"])]
    pub all: bool,
}

/// Which drill.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum DrillKind {
    /// Take mains from the network gear: how long do gear and path last?
    MainsOff,
    /// Restart the router: how long until the path carries again?
    RouterRestart,
    /// Pull a network lead and put it back: is it seen?
    CablePull,
    /// Touch nothing: is every named receiver reached?
    ReceiverPath,
}

/// Options of `drill`.
#[derive(Debug, Parser)]
pub struct DrillOptions {
    /// Which drill.
    #[arg(value_enum)]
    pub drill: DrillKind,
    /// Site file (TOML); without one every value is found from the host.
    pub file: Option<PathBuf>,
    /// Go on with this record: a survey's, to which the drill is added, or one whose drill was cut off.
    #[arg(long, value_name = "RECORD", conflicts_with_all = ["file", "record", "practice"])]
    pub onto: Option<PathBuf>,
    /// The owner permits it and the cautions are understood: do not ask for a "yes".
    #[arg(long)]
    pub permitted: bool,
    /// How long the path must last without mains (mains-off), for example `4h`; else as the site file says.
    #[arg(long, value_name = "LENGTH")]
    pub needed: Option<jiff::SignedDuration>,
    /// Drill on the built-in practice site, which does by itself what you say you did.
    #[arg(long, conflicts_with = "file")]
    pub practice: bool,
    /// How to print the result.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Where to keep the record; it must not exist yet.
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
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
    /// A record with drills at this site: what they measured goes before what was entered or worked out.
    #[arg(long, value_name = "RECORD", conflicts_with = "practice")]
    pub drills: Vec<PathBuf>,
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
    /// JSON (documented in src/show/json.md); nothing else on standard output.
    Json,
}
