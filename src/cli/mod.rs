//! The command line: one file per command, one place for exit codes.

mod about;
mod archive;
mod bundle;
pub mod check;
mod drill;
mod entered;
pub mod exit;
mod export;
mod host;
mod live;
mod log;
mod options;
mod paper;
mod power;
mod practice;
mod replay;
mod report;
mod resettle;
mod result;
mod ruling;
mod running;
mod served;
pub mod site_file;
mod survey;
mod watch;

pub use options::Options;

use crate::show::escape::terminal;
use options::Command;
use std::io::Write;

/// Runs a command, says what went wrong, and returns the exit code. Must be called while the process has one thread: the
/// practice site needs it.
pub fn run(options: Options, out: &mut dyn Write, err: &mut dyn Write) -> i32 {
    log::start();
    let done = match options.command {
        Command::Survey(o) => survey::run(&o, out, err),
        Command::Watch(o) => watch::run(&o, out),
        Command::Bundle(o) => bundle::run(&o, out),
        Command::Export(o) => export::run(&o, out, err),
        Command::Forget(o) => export::forget(&o, out),
        Command::Check { file } => check::run(file.as_deref(), out),
        Command::Drill(o) => drill::run(&o, out, err),
        Command::Power { file, drills, format, html } => power::run(&file, &drills, format, html.as_deref(), out, err),
        Command::Report(o) => report::run(&o, out, err),
    };
    done.unwrap_or_else(|e| {
        for line in e.to_string().lines() {
            // Whoever was reading may have gone; the code still tells.
            let _ = writeln!(err, "{}", terminal(line));
        }
        e.code()
    })
}
