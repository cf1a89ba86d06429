//! A sum over the source of `judge` and `record`: a checkpoint in a record is believed only by the judge that wrote it.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::{env, fs, io};

/// The rooms whose source decides what a checkpoint means.
const ROOMS: [&str; 2] = ["src/judge", "src/record"];

fn main() -> io::Result<()> {
    let mut files = Vec::new();
    for room in ROOMS {
        println!("cargo::rerun-if-changed={room}");
        walk(Path::new(room), &mut files)?;
    }
    // Folders are listed in no order.
    files.sort();
    let mut sum = DefaultHasher::new();
    for file in &files {
        file.hash(&mut sum);
        fs::read(file)?.hash(&mut sum);
    }
    // What they keep is laid out by these too.
    for of in ["CARGO_PKG_VERSION", "TARGET"] {
        env::var(of).unwrap_or_default().hash(&mut sum);
    }
    println!("cargo::rustc-env=PATHPROOF_JUDGE={:016x}", sum.finish());
    Ok(())
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() { walk(&path, files)? } else { files.push(path) }
    }
    Ok(())
}
