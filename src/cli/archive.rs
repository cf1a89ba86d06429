//! The file format of a bundle, a plain archive (ustar, POSIX.1-1988): writing members, taking the record out again, and
//! the sums that stand in a bundle and on papers.

use super::exit::CommandError;
use ring::digest::{Context, SHA256};
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// The member that holds the record.
pub(super) const RECORD: &str = "record.db";

/// The largest record taken out of a bundle, bytes (choice: ten times a bad year's).
const LARGEST: u64 = 4 << 30;

/// Writes a member.
pub(super) fn append(tar: &mut tar::Builder<&File>, name: &str, length: u64, bytes: impl Read) -> io::Result<()> {
    let mut header = tar::Header::new_ustar();
    header.set_size(length);
    header.set_mode(0o600);
    tar.append_data(&mut header, name, bytes)
}

/// Whether a file is a bundle, by the mark of its format.
pub(super) fn is_bundle(path: &Path) -> bool {
    let mut head = [0; 262];
    File::open(path).and_then(|mut f| f.read_exact(&mut head)).is_ok() && &head[257..] == b"ustar"
}

/// Takes the record out of a bundle, into a directory that goes when it is dropped.
pub(super) fn open(path: &Path) -> Result<(TempDir, PathBuf), CommandError> {
    let bad = |e: &dyn std::fmt::Display| CommandError::BadRecord(format!("{}: {e}", path.display()));
    let file = File::open(path).map_err(|e| CommandError::NoInput(format!("{}: {e}", path.display())))?;
    let dir = tempfile::tempdir().map_err(|e| CommandError::Io(format!("no place for the record: {e}")))?;
    let copy = dir.path().join(RECORD);
    let mut tar = tar::Archive::new(file);
    // As they stand: extensions of the format are read whole into memory, however long they say they are.
    for entry in tar.entries().map_err(|e| bad(&e))?.raw(true) {
        let mut entry = entry.map_err(|e| bad(&e))?;
        // Only its own name is taken, and only as a plain file of a size that can be: a bundle may come from anybody.
        let own = entry.path().is_ok_and(|p| p.strip_prefix(".").unwrap_or(&p) == Path::new(RECORD))
            && entry.header().entry_type().is_file();
        if !own {
            continue;
        }
        if entry.size() > LARGEST {
            return Err(bad(&format!("its record of {} bytes is too large", entry.size())));
        }
        let mut to = File::create(&copy).map_err(|e| bad(&e))?;
        io::copy(&mut entry, &mut to).map_err(|e| bad(&e))?;
        return Ok((dir, copy));
    }
    Err(bad(&"no record is in it"))
}

/// SHA-256 of a file's bytes, hexadecimal.
pub(super) fn sha256_of(path: &Path) -> io::Result<String> {
    let mut file = std::fs::File::open(path)?;
    let mut hash = Context::new(&SHA256);
    let mut some = vec![0; 64 * 1024];
    loop {
        match file.read(&mut some)? {
            0 => return Ok(hex(hash.finish().as_ref())),
            n => hash.update(&some[..n]),
        }
    }
}

/// Bytes as hexadecimal digits.
pub(super) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut out, b| {
        let _ = write!(out, "{b:02x}");
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn extensions_of_the_format_are_passed_over_and_other_ways_to_write_the_name_are_not() {
        let dir = tempfile::tempdir().expect("a folder");
        let made = |name: &str, long: Option<usize>| {
            let path = dir.path().join("b.tar");
            let file = File::create(&path).expect("a file");
            let mut tar = tar::Builder::new(&file);
            if let Some(length) = long {
                let mut header = tar::Header::new_gnu();
                header.set_entry_type(tar::EntryType::GNULongName);
                header.set_size(length as u64);
                header.set_cksum();
                tar.append(&header, io::repeat(b'a').take(length as u64)).expect("written");
            }
            let mut header = tar::Header::new_ustar();
            header.as_mut_bytes()[..name.len()].copy_from_slice(name.as_bytes());
            header.set_size(4);
            header.set_mode(0o600);
            header.set_cksum();
            tar.append(&header, &b"abcd"[..]).expect("written");
            tar.finish().expect("written");
            drop(tar);
            open(&path).map(|(_keep, copy)| std::fs::read(copy).expect("reads"))
        };
        assert_eq!(made(RECORD, None).expect("opens"), b"abcd");
        assert_eq!(made("./record.db", None).expect("opens"), b"abcd");
        // Were it heeded, the record would go by that name, and a longer one would fill the memory.
        assert_eq!(made(RECORD, Some(8 << 20)).expect("opens"), b"abcd");
        for other in ["../record.db", "/record.db", "record.db.old", "a/record.db"] {
            assert!(made(other, None).is_err(), "{other}");
        }
    }

    #[test]
    fn a_file_is_hashed_as_the_standard_does() {
        // [FIPS1804], its example: "abc".
        let file = tempfile::NamedTempFile::new().expect("a file");
        std::fs::write(file.path(), "abc").expect("written");
        let want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256_of(file.path()).expect("reads"), want);
    }
}
