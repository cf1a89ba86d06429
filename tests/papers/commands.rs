//! The commands: a paper written in every form, a bundle that anybody's `tar` opens, without secrets, and opened again.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn fixture() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/record-1.db")
}

fn pathproof(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pathproof")).args(args).env("TZ", "UTC").output().expect("runs")
}

fn words(out: &Output) -> (String, String) {
    (String::from_utf8_lossy(&out.stdout).into_owned(), String::from_utf8_lossy(&out.stderr).into_owned())
}

#[test]
fn every_paper_is_written_in_every_form() {
    let dir = tempfile::tempdir().expect("a directory");
    let record = fixture();
    let record = record.to_str().expect("a name");
    let plain = pathproof(&["report", record]);
    for word in ["letter", "ticket", "survey-record"] {
        let files = ["html", "pdf", "txt", "json"].map(|e| dir.path().join(format!("{word}.{e}")));
        let mut args = vec!["report", record, "--as", word];
        args.extend(files.iter().flat_map(|f| ["--out", f.to_str().expect("a name")]));
        let out = pathproof(&args);
        assert_eq!(out.status.code(), plain.status.code(), "the verdict's code: {:?}", words(&out));
        assert!(out.stdout.is_empty(), "{:?}", words(&out));
        let read = |i: usize| std::fs::read(&files[i]).expect("written");
        assert!(read(0).starts_with(b"<!DOCTYPE html>") && read(1).starts_with(b"%PDF-1.7"));
        let told = words(&pathproof(&["report", record, "--as", word])).0;
        // When it is made stands in the survey record; nothing else differs.
        let same = |t: &str| {
            t.lines().filter(|l| !l.trim_start().starts_with("Made: ")).map(str::to_owned).collect::<Vec<_>>()
        };
        assert_eq!(same(&told), same(&String::from_utf8(read(2)).expect("text")), "{word}");
        let json: serde_json::Value = serde_json::from_slice(&read(3)).expect("JSON");
        assert_eq!(json["paper"], word);
    }
    let sum = Command::new("sha256sum").arg(record).output().expect("coreutils");
    let sum = words(&sum).0.split(' ').next().expect("a sum").to_owned();
    let told = words(&pathproof(&["report", record, "--as", "survey-record", "--format", "json"])).0;
    assert!(told.contains(&sum), "the sum sha256sum gives");
}

#[test]
fn a_form_nobody_knows_is_refused_before_the_record_is_read() {
    let out = pathproof(&["report", "no-such.db", "--as", "letter", "--out", "letter.docx"]);
    assert_eq!(out.status.code(), Some(64));
    assert!(words(&out).1.contains(".html, .pdf, .txt or .json"), "{:?}", words(&out));
}

#[test]
fn a_bundle_holds_the_record_and_no_secret_and_opens_again() {
    let dir = tempfile::tempdir().expect("a directory");
    let (bundle, site) = (dir.path().join("b.tar"), dir.path().join("site.toml"));
    std::fs::write(
        &site,
        "[site]\nid = \"practice\" # hush0\n[power]\nsnmp = \"192.0.2.1\"\nsnmp_community = \"hush1\"\n\
         [panel]\ncommunicator_serial = \"hush2\"\nactivation = \"hush3\"\n",
    )
    .expect("written");
    let record = fixture();
    let (record, bundle, site) =
        (record.to_str().expect("a name"), bundle.to_str().expect("a name"), site.to_str().expect("a name"));
    let out = pathproof(&["bundle", record, "--out", bundle, "--site", site]);
    assert_eq!(out.status.code(), Some(0), "{:?}", words(&out));
    // GNU tar is the outside reader.
    let listed = Command::new("tar").args(["-tf", bundle]).output().expect("tar");
    let listed = words(&listed).0;
    assert_eq!(
        listed.lines().collect::<Vec<_>>(),
        ["about.json", "report.html", "report.json", "site.toml", "record.db"]
    );
    let bytes = std::fs::read(bundle).expect("reads");
    assert!(!bytes.windows(4).any(|w| w == b"hush"), "a secret is in the bundle");
    let kept = Command::new("tar").args(["-xOf", bundle, "site.toml"]).output().expect("tar");
    assert!(words(&kept).0.contains("practice"), "the rest of the site file is there");
    // The sums told are those of the members.
    let about = Command::new("tar").args(["-xOf", bundle, "about.json"]).output().expect("tar");
    let about: serde_json::Value = serde_json::from_slice(&about.stdout).expect("JSON");
    let unpacked = Command::new("tar").args(["-xf", bundle, "-C"]).arg(dir.path()).status().expect("tar");
    assert!(unpacked.success());
    for (name, sum) in about["sha256"].as_object().expect("sums") {
        let told = Command::new("sha256sum").arg(dir.path().join(name)).output().expect("coreutils");
        assert!(words(&told).0.starts_with(sum.as_str().expect("a sum")), "{name}");
    }
    let (of_record, of_bundle) = (pathproof(&["report", record]), pathproof(&["report", bundle]));
    assert_eq!(words(&of_record), words(&of_bundle));
    assert_eq!(of_record.status.code(), of_bundle.status.code());
    // Another site's file gets into neither a paper nor a bundle.
    let other = dir.path().join("other.toml");
    std::fs::write(&other, "[site]\nid = \"home-2\"\n").expect("written");
    let other = other.to_str().expect("a name");
    let new = dir.path().join("new.tar");
    for args in [
        vec!["report", record, "--as", "survey-record", "--site", other],
        vec!["bundle", record, "--site", other, "--out", new.to_str().expect("a name")],
    ] {
        let out = pathproof(&args);
        assert_eq!(out.status.code(), Some(78), "{:?}", words(&out));
        assert!(words(&out).1.contains("home-2") && !new.exists(), "{:?}", words(&out));
    }
    // A site file that is wrong is told line by line, and nothing is made.
    std::fs::write(other, "[site]\nidd = \"x\"\n").expect("writes");
    let out = pathproof(&["bundle", record, "--site", other, "--out", new.to_str().expect("a name")]);
    let told = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(78), "{told}");
    assert!(told.lines().any(|l| l.trim_start().starts_with("found")) && !told.contains("\\n"), "{told}");
    assert!(!new.exists());
    let again = pathproof(&["bundle", record, "--out", bundle]);
    assert_eq!(again.status.code(), Some(74), "nothing is written over: {:?}", words(&again));
}

#[test]
fn what_is_no_bundle_of_ours_is_refused() {
    let dir = tempfile::tempdir().expect("a directory");
    let tar = dir.path().join("other.tar");
    let of = |name: &str, text: &str| {
        std::fs::write(dir.path().join(name), text).expect("written");
        let made =
            Command::new("tar").arg("--format=ustar").arg("-cf").arg(&tar).arg("-C").arg(dir.path()).arg(name).status();
        assert!(made.expect("tar").success());
        let out = pathproof(&["report", tar.to_str().expect("a name")]);
        let told = words(&out).1;
        assert_eq!(out.status.code(), Some(65), "{told}");
        told
    };
    of("other.txt", "x");
    // One whose record is none is named by its own name, not by where the record was taken out to.
    let told = of("record.db", "no record at all, only words that are long enough");
    assert!(told.contains(&format!("the record in {}", tar.display())) && !told.contains("record.db"), "{told}");
    let mut cut = std::fs::read(&tar).expect("reads");
    cut.truncate(600);
    std::fs::write(&tar, cut).expect("written");
    assert_eq!(pathproof(&["report", tar.to_str().expect("a name")]).status.code(), Some(65));
}
