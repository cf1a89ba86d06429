//! Parse, call the command, turn its result into an exit code.

use clap::Parser;
use pathproof::cli::{Options, exit, run};
use std::process::ExitCode;

fn main() -> ExitCode {
    let options = match Options::try_parse() {
        Ok(options) => options,
        Err(e) => {
            // Help and version are no errors; what can't be printed can't be reported either.
            let _ = e.print();
            return code(if e.use_stderr() { exit::USAGE } else { 0 });
        }
    };
    code(run(options, &mut std::io::stdout(), &mut std::io::stderr()))
}

fn code(n: i32) -> ExitCode {
    ExitCode::from(u8::try_from(n).unwrap_or(70))
}
