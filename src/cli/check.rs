//! `pathproof check [FILE]`: what is wrong with a site file, and what this host may probe.
//!
//! Decides the exit code and the layout. Sends nothing.

use super::exit;
use crate::judge::Micros;
use crate::judge::requirement::RequirementSet;
use crate::show::escape::terminal;
use crate::site::keys::LONGEST_FILE;
use crate::site::{self, Host, HostFacts, Plan, Problem, Settled, SiteFile, Transport, requirements};
use crate::sys::capability::Capability;
use std::io::{self, Read as _, Write};
use std::path::Path;

/// Most problems shown; the rest are counted.
const MOST_SHOWN: usize = 25;

/// Checks a site file, or the defaults where none is given. Returns the exit code.
pub fn run(file: Option<&Path>, out: &mut dyn Write) -> i32 {
    match check(file, out) {
        Ok(code) => code,
        // Whoever was reading has gone or the disk is full: there is nobody left to tell.
        Err(_) => exit::IO,
    }
}

fn check(file: Option<&Path>, out: &mut dyn Write) -> io::Result<i32> {
    let Some(path) = file else {
        writeln!(out, "No site file: every value is a default or comes from this host.\n")?;
        return sound(&SiteFile::default(), out);
    };
    match load(path) {
        Ok(site) => {
            writeln!(out, "{}: nothing wrong.\n", terminal(&path.display().to_string()))?;
            sound(&site, out)
        }
        Err((code, words)) => {
            write!(out, "{words}")?;
            Ok(code)
        }
    }
}

/// Loads a site file, or says why not: the exit code and words with untrusted text escaped.
pub(super) fn load(path: &Path) -> Result<SiteFile, (i32, String)> {
    let name = path.display().to_string();
    let bytes = read(path).map_err(|e| {
        (read_code(&e), format!("The site file {} can't be read: {}\n", terminal(&name), terminal(&e.to_string())))
    })?;
    let file = site::load(&name, &bytes).map_err(|problems| {
        let mut words = Vec::new();
        // Writing to memory does not fail.
        let _ = write_problems(&problems, &mut words);
        (exit::BAD_SITE_FILE, String::from_utf8_lossy(&words).into_owned())
    })?;
    own_set(path, &file)?;
    Ok(file)
}

/// The set of thresholds a site file names as a file of its own, beside it; `None` where it names one that ships.
pub(super) fn own_set(site_file: &Path, file: &SiteFile) -> Result<Option<RequirementSet>, (i32, String)> {
    if !requirements::is_file(&file.requirements) {
        return Ok(None);
    }
    let path = site_file.parent().unwrap_or(Path::new("")).join(&file.requirements);
    let fail = |code, why: String| {
        let name = path.display().to_string();
        (code, format!("The requirement set {} can't be used: {}\n", terminal(&name), terminal(&why)))
    };
    let mut text = String::new();
    std::fs::File::open(&path)
        .and_then(|f| f.take(requirements::LONGEST_SET as u64 + 1).read_to_string(&mut text))
        .map_err(|e| fail(exit::NO_INPUT, e.to_string()))?;
    requirements::read(&text).map(Some).map_err(|why| fail(exit::BAD_SITE_FILE, why))
}

/// The exit code of a file that can't be read.
pub(super) fn read_code(e: &io::Error) -> i32 {
    match e.kind() {
        io::ErrorKind::NotFound => exit::NO_INPUT,
        io::ErrorKind::PermissionDenied => exit::PERMISSION,
        _ => exit::IO,
    }
}

/// Reads a byte more than a site file or script may have, so that one that is too long can be told.
pub(super) fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    std::fs::File::open(path)?.take(LONGEST_FILE as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn sound(file: &SiteFile, out: &mut dyn Write) -> io::Result<i32> {
    let Settled { plan, notes } = site::resolve(file, &HostFacts::read());
    writeln!(out, "Settled:")?;
    for (what, value) in settled(&plan) {
        writeln!(out, "  {what:<14}{}", terminal(&value))?;
    }
    writeln!(out, "\nAssumed:")?;
    for note in notes {
        writeln!(out, "  {}", terminal(&note))?;
    }
    writeln!(out, "\nThis host:")?;
    let program = std::env::current_exe().unwrap_or_else(|_| "pathproof".into());
    for line in Capability::read().lines(&program) {
        writeln!(out, "  {}", terminal(&line))?;
    }
    Ok(exit::IP_ALONE)
}

/// Writes problems: one block each, the place first, then what stands there, what may, and what to do.
pub fn write_problems(problems: &[Problem], out: &mut dyn Write) -> io::Result<()> {
    let file = problems.first().map_or("", |p| &p.file);
    let s = if problems.len() == 1 { "" } else { "s" };
    writeln!(out, "{}: {} problem{s}.", terminal(file), problems.len())?;
    for p in problems.iter().take(MOST_SHOWN) {
        writeln!(out, "\nline {}, column {}: {}", p.line, p.column, terminal(&p.key))?;
        for (label, words) in [("found", &p.found), ("expected", &p.expected), ("to mend", &p.fix)] {
            writeln!(out, "  {label:<10}{}", terminal(words))?;
        }
    }
    if problems.len() > MOST_SHOWN {
        writeln!(out, "\nand {} more.", problems.len() - MOST_SHOWN)?;
    }
    Ok(())
}

fn settled(plan: &Plan) -> Vec<(&'static str, String)> {
    let none = || "none".to_owned();
    let mut rows = vec![
        ("site", format!("{}, {}", plan.site, word(&plan.kind))),
        ("access", word(&plan.background.access)),
        ("uses", plan.uses.iter().map(word).collect::<Vec<_>>().join(", ")),
        ("requirements", plan.requirements.clone()),
        ("supervision", plan.supervision.map_or_else(|| "not known".into(), |s| s.to_string())),
        ("interface", plan.interface.clone().unwrap_or_else(none)),
    ];
    let targets = |rows: &mut Vec<(&'static str, String)>, what: &'static str, each: Vec<String>, every: Micros| {
        if each.is_empty() {
            rows.push((what, none()));
        }
        rows.extend(each.into_iter().map(|t| (what, format!("{t}, every {every}"))));
    };
    let resolvers = plan.resolvers.iter().map(|r| r.name.to_string()).collect();
    targets(&mut rows, "resolver", resolvers, plan.cadence.names);
    let references = plan.references.iter().map(|r| format!("{} at {}", r.name, r.address)).collect();
    targets(&mut rows, "reference", references, plan.cadence.outside);
    let receivers = plan.receivers.iter().map(|r| {
        let host = match &r.host {
            Host::Address(ip) => ip.to_string(),
            Host::Name(name) => name.clone(),
        };
        let how = match r.transport {
            Transport::Tcp => "tcp",
            Transport::Tls => "tls",
        };
        format!("{} at {host} port {} ({how})", r.name, r.port)
    });
    targets(&mut rows, "receiver", receivers.collect(), plan.cadence.receiver);
    rows.push(("gateway", format!("every {}", plan.cadence.router)));
    rows.push(("offers", format!("every {}", plan.cadence.offers)));
    rows.push(("local", format!("every {}", plan.cadence.local)));
    rows.extend(plan.signs.sources().into_iter().map(|source| ("power", source)));
    rows
}

/// The word a value has in site files and records.
fn word(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        other => unreachable!("the enumerations of the plan are written as words, not {other:?}"),
    }
}
