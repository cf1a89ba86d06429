//! Site files from outside: the shipped ones are sound, the broken ones give exactly the words kept beside them.
//!
//! With `PATHPROOF_GOLDEN=write` the kept words and `config/site.toml` are written anew; read the difference before you
//! commit it. Without it everything is compared.

use pathproof::cli::{check, exit, site_file};
use pathproof::judge::Micros;
use pathproof::site::{self, Host, HostFacts, SiteKind, Transport};
use std::fs;
use std::path::{Path, PathBuf};

#[path = "site/template.rs"]
mod template;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Compares with the kept text, or keeps it.
fn golden(path: &Path, now: &str) {
    if std::env::var("PATHPROOF_GOLDEN").is_ok_and(|v| v == "write") {
        fs::write(path, now).expect("the source tree can be written");
        return;
    }
    let kept = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(kept == now, "{} differs.\nkept:\n{kept}\nnow:\n{now}", path.display());
}

#[test]
fn the_committed_template_is_the_generated_one() {
    golden(&root().join("config/site.toml"), &template::template());
}

#[test]
fn broken_files_give_the_words_kept_beside_them() {
    let mut files: Vec<PathBuf> = fs::read_dir(root().join("tests/site"))
        .expect("tests/site is part of the source")
        .map(|e| e.expect("a readable directory").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 12, "only {} broken files", files.len());
    for path in files {
        let bytes = fs::read(&path).expect("a readable file");
        let name = path.file_name().expect("a file has a name").to_string_lossy().into_owned();
        let problems = site::load(&name, &bytes).expect_err(&name);
        let words = site_file::in_words(&problems);
        assert!(words.chars().all(|c| c == '\n' || !c.is_control()), "{name}: raw control in {words:?}");
        golden(&path.with_extension("txt"), &words);
    }
}

#[test]
fn the_household_example_is_sound_and_says_what_it_seems_to() {
    let text = fs::read("config/household.toml").expect("shipped");
    let plan = site::resolve(&site::load("household.toml", &text).expect("sound"), &HostFacts::default()).plan;
    assert_eq!((plan.kind, plan.receivers.len(), plan.references.len()), (SiteKind::Household, 1, 4));
    assert_eq!(plan.supervision, Some(Micros::from_secs(90_000)));
    assert!(plan.references.iter().all(|r| r.builtin));
}

#[test]
fn the_shop_example_is_sound_and_says_what_it_seems_to() {
    let text = fs::read("config/shop.toml").expect("shipped");
    let plan = site::resolve(&site::load("shop.toml", &text).expect("sound"), &HostFacts::default()).plan;
    assert_eq!((plan.kind, plan.receivers.len(), plan.references.len()), (SiteKind::SmallBusiness, 2, 3));
    assert_eq!(plan.receivers[1].transport, Transport::Tls);
    assert_eq!(plan.receivers[0].host, Host::Name("receiver-a.station.example".into()));
    assert_eq!(plan.background.gear.len(), 2);
}

/// Runs the command as `main` does, and gives its code and words.
fn run(file: Option<&Path>) -> (i32, String) {
    let mut out = Vec::new();
    let code = check::run(file, &mut out).unwrap_or_else(|e| e.code());
    (code, String::from_utf8(out).expect("output is text"))
}

#[test]
fn check_tells_a_missing_a_broken_and_a_sound_file_apart() {
    let (code, said) = run(Some(Path::new("/nonexistent/si\u{1b}te.toml")));
    assert_eq!(code, exit::NO_INPUT);
    assert!(said.contains("si\\x1bte.toml") && !said.contains('\u{1b}'), "{said:?}");

    let (code, said) = run(Some(&root().join("tests/site/bad-receiver.toml")));
    assert_eq!(code, exit::BAD_SITE_FILE, "{said}");

    let (code, said) = run(Some(&root().join("config/shop.toml")));
    assert_eq!(code, 0, "{said}");
    for part in ["nothing wrong", "Settled:", "Assumed:", "This host:", "receiver-a.station.example"] {
        assert!(said.contains(part), "{part} missing in {said}");
    }

    let (code, said) = run(None);
    assert_eq!(code, 0, "{said}");
    assert!(said.starts_with("No site file"), "{said}");

    // A directory opens and does not read.
    assert_eq!(run(Some(root())).0, exit::IO);
    // An endless file is cut off one byte after the longest a site file may be.
    assert_eq!(run(Some(Path::new("/dev/zero"))).0, exit::BAD_SITE_FILE);
}

#[test]
fn a_writer_that_fails_gives_an_io_code() {
    struct Full;
    impl std::io::Write for Full {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::StorageFull.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    assert_eq!(check::run(None, &mut Full).expect_err("nothing is printed").code(), exit::IO);
}
