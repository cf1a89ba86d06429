//! Parse, call the command, turn its result into an exit code.

fn main() {}
