//! Parse, call the command, turn its result into an exit code.

use clap::Parser;
use pathproof::cli::{Options, exit, run};
use std::io::Write as _;
use std::process::ExitCode;

fn main() -> ExitCode {
    let options = match Options::try_parse() {
        Ok(options) => options,
        Err(e) => {
            // Help and version are no errors, unless they can't be printed.
            let printed = e.print().and_then(|()| std::io::stdout().flush());
            return code(match (e.use_stderr(), printed) {
                (true, _) => exit::USAGE,
                (false, Ok(())) => 0,
                (false, Err(_)) => exit::IO,
            });
        }
    };
    code(run(options, &mut std::io::stdout(), &mut std::io::stderr()))
}

fn code(n: i32) -> ExitCode {
    ExitCode::from(u8::try_from(n).unwrap_or(70))
}
