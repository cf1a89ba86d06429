//! `pathproof check [FILE]`: what is wrong with a site file, and what this host may probe.
//!
//! Decides the exit code and the layout. Sends nothing.

use super::exit::{self, CommandError};
use super::site_file;
use crate::judge::Micros;
use crate::show::escape::terminal;
use crate::site::{self, Host, HostFacts, Plan, Settled, SiteFile, Transport};
use crate::sys::capability::Capability;
use std::io::Write;
use std::path::Path;

/// Checks a site file, or the defaults where none is given. What is wrong with the file is the result: it is printed.
pub fn run(file: Option<&Path>, out: &mut dyn Write) -> Result<i32, CommandError> {
    let Some(path) = file else {
        writeln!(out, "No site file: every value is a default or comes from this host.\n")?;
        return sound(&SiteFile::default(), out);
    };
    match site_file::load(path) {
        Ok(site) => {
            writeln!(out, "{}: nothing wrong.\n", terminal(&path.display().to_string()))?;
            sound(&site, out)
        }
        Err(e) => {
            write!(out, "{e}")?;
            Ok(e.code())
        }
    }
}

fn sound(file: &SiteFile, out: &mut dyn Write) -> Result<i32, CommandError> {
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
