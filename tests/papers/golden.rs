//! Every paper of every site, as text and HTML, compared byte for byte. The JSON is held against the text elsewhere.

use super::snapshots::{self, stories};
use super::{judged, papers};
use pathproof::show::paper::{Paper, to_html, to_json, to_pdf, to_text};
use std::path::Path;

fn compare(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/papers").join(name);
    if std::env::var("PATHPROOF_GOLDEN").as_deref() == Ok("write") {
        std::fs::create_dir_all(path.parent().expect("a directory")).expect("made");
        std::fs::write(&path, text).expect("golden file written");
        return;
    }
    let golden = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    if golden == text {
        return;
    }
    let differs = golden.lines().zip(text.lines()).position(|(a, b)| a != b);
    let at = differs.unwrap_or_else(|| golden.lines().count().min(text.lines().count()));
    panic!(
        "{name} differs at line {}:\n golden: {}\n    now: {}\nIf this is meant: PATHPROOF_GOLDEN=write cargo test --test papers",
        at + 1,
        golden.lines().nth(at).unwrap_or("(ends)"),
        text.lines().nth(at).unwrap_or("(ends)")
    );
}

/// With `PATHPROOF_READ=DIRECTORY` every form of a paper is written there, to be looked at.
fn written_to_be_read(name: &str, paper: &Paper) {
    let Some(dir) = std::env::var_os("PATHPROOF_READ").map(std::path::PathBuf::from) else { return };
    let file = |ending: &str| dir.join(format!("{name}.{ending}"));
    std::fs::write(file("pdf"), to_pdf(paper)).expect("written");
    std::fs::write(file("html"), to_html(paper)).expect("written");
    std::fs::write(file("json"), to_json(paper)).expect("written");
}

#[test]
fn the_papers_of_eight_sites_match_their_golden_files() {
    for (site, s) in judged() {
        for (word, paper) in papers(s) {
            written_to_be_read(&format!("{site}.{word}"), &paper);
            compare(&format!("{site}.{word}.txt"), &to_text(&paper, 80));
            if *site == "add-cellular" {
                compare(&format!("{site}.{word}.html"), &to_html(&paper));
            }
        }
    }
}

/// What each reader is told of twelve stories: the technician by the choice for today, the household by its letter.
#[test]
fn twelve_stories_tell_what_to_do() {
    let (told, sites): (Vec<_>, Vec<_>) = stories().into_iter().unzip();
    let mut out = Vec::new();
    for (what, (site, s)) in told.into_iter().zip(snapshots::judged(&sites)) {
        let (_, letter) = papers(&s).into_iter().find(|(word, _)| *word == "letter").expect("a letter");
        let letter = to_text(&letter, 80);
        let above = letter.find("WHAT HAPPENED").expect("each letter tells it");
        let v = s.verdict();
        let lines: Vec<String> = v.today.iter().map(|l| format!("- {l}\n")).collect();
        let (kind, lines, household) = (v.kind.words(), lines.concat(), letter[..above].trim());
        out.push(format!("===== {site}: {what}\n\n[technician] {kind}\n{lines}\n[household]\n{household}\n\n"));
    }
    compare("stories.txt", &out.concat());
}
