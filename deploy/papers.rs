//! Writes the manual pages and the shells' completions, from the one definition of the command line.
//! `cargo run --example papers -- DIRECTORY`; the package is built with them (`deploy/deb/build`).

use clap::{Command, CommandFactory as _, ValueEnum as _};
use clap_complete::Shell;
use clap_mangen::Man;
use std::fs;
use std::io::{self, Write as _};
use std::path::Path;

fn main() -> io::Result<()> {
    let Some(dir) = std::env::args_os().nth(1) else {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "name the directory to write to"));
    };
    let dir = Path::new(&dir);
    let man = dir.join("man1");
    fs::create_dir_all(&man)?;
    let mut command = pathproof::cli::Options::command();
    // Each command says how it is really called.
    command.build();
    page(&command, &man)?;
    for sub in command.get_subcommands().filter(|c| c.get_name() != "help") {
        page(&sub.clone().version(env!("CARGO_PKG_VERSION")), &man)?;
    }
    for shell in Shell::value_variants() {
        let to = dir.join("completions").join(shell.to_string());
        fs::create_dir_all(&to)?;
        clap_complete::generate_to(*shell, &mut pathproof::cli::Options::command(), "pathproof", to)?;
    }
    Ok(())
}

/// One page, named as the command is called: `pathproof-watch.1`.
fn page(command: &Command, dir: &Path) -> io::Result<()> {
    let called = command.get_bin_name().unwrap_or_else(|| command.get_name()).replace(' ', "-");
    let name: &'static str = Box::leak(called.clone().into_boxed_str());
    let mut text = Vec::new();
    let this = command.clone().name(name).display_name(name);
    Man::new(this).section("1").source(format!("pathproof {}", env!("CARGO_PKG_VERSION"))).render(&mut text)?;
    writeln!(
        text,
        ".SH FILES\n.TP\n\\fI/etc/pathproof/site.toml\\fR\nThe site file of the service.\n.TP\n\\fI/var/lib/pathproof/record.db\\fR\nIts record."
    )?;
    fs::write(dir.join(format!("{called}.1")), text)
}
