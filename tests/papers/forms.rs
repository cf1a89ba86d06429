//! Every form of a paper tells the same: each text of its blocks stands in the text, the HTML, the JSON and, as
//! `pdftotext` of poppler-utils reads it, in the PDF, in the same order.
//!
//! White space is left out of the comparison, as each form breaks lines where it likes. Needs poppler-utils and qpdf;
//! without them the test fails and says so.

use super::{judged, papers};
use pathproof::show::paper::{Block, Paper, to_html, to_json, to_pdf, to_text};
use std::path::Path;
use std::process::Command;

fn squeezed(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}

/// The text of a page without its tags, style left out.
pub(crate) fn of_html(html: &str) -> String {
    let body = html.split("<body").nth(1).expect("a body");
    let text: String = body.split('<').skip(1).map(|part| part.split_once('>').map_or("", |p| p.1)).collect();
    text.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
}

/// Every string of a JSON value, in order.
fn of_json(value: &serde_json::Value, out: &mut String) {
    match value {
        serde_json::Value::String(s) => out.push_str(s),
        serde_json::Value::Array(all) => all.iter().for_each(|v| of_json(v, out)),
        serde_json::Value::Object(map) => map.iter().filter(|(k, _)| *k != "data").for_each(|(_, v)| of_json(v, out)),
        _ => {}
    }
}

fn run(tool: &str, args: &[&std::ffi::OsStr]) -> String {
    let out = Command::new(tool).args(args).output();
    let out = out.unwrap_or_else(|e| panic!("{tool}: {e}; this check needs: apt-get install poppler-utils qpdf"));
    assert!(out.status.success(), "{tool}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// The text of a PDF in the order it was set, page numbers left out.
pub(crate) fn of_pdf(bytes: &[u8]) -> String {
    let dir = tempfile::tempdir().expect("a directory");
    let file = dir.path().join("paper.pdf");
    std::fs::write(&file, bytes).expect("written");
    run("qpdf", &["--check".as_ref(), file.as_os_str()]);
    let text = run("pdftotext", &["-raw".as_ref(), "-enc".as_ref(), "UTF-8".as_ref(), file.as_os_str(), "-".as_ref()]);
    let numbers = |page: &str| {
        let mut lines: Vec<&str> = page.lines().collect();
        let last = lines.pop().unwrap_or_default();
        assert!(last.is_empty() || last.contains(" / "), "a page ends with its number, not: {last}");
        lines.join("\n")
    };
    text.split('\u{c}').map(numbers).collect::<Vec<_>>().join("\n")
}

fn pages_of(file: &Path) -> usize {
    let info = run("pdfinfo", &[file.as_os_str()]);
    let pages = info.lines().find_map(|l| l.strip_prefix("Pages:")).expect("pdfinfo tells the pages");
    pages.trim().parse().expect("a number")
}

/// The first text that does not stand in the form after those before it.
fn out_of_place<'t>(texts: &[&'t str], form: &str) -> Option<&'t str> {
    let form = squeezed(form);
    let mut at = 0;
    texts.iter().copied().find(|text| {
        let want = squeezed(text);
        let found = form[at..].find(&want);
        at += found.map_or(0, |f| f + want.len());
        found.is_none()
    })
}

/// The first text that does not stand in the form at all: a table told in rows, or cells side by side, keep no order.
fn missing<'t>(texts: &[&'t str], form: &str) -> Option<&'t str> {
    let form = squeezed(form);
    texts.iter().copied().find(|text| !form.contains(&squeezed(text)))
}

fn json_of(paper: &Paper) -> String {
    let mut out = String::new();
    of_json(&serde_json::from_str(&to_json(paper)).expect("parses"), &mut out);
    out
}

#[test]
fn text_html_json_and_pdf_tell_the_same() {
    for (site, s) in judged() {
        for (word, paper) in papers(s) {
            let texts = paper.texts();
            let none = |form, found: Option<&str>| assert_eq!(found, None, "{site}, {word}, {form}");
            // Lines to be copied stand behind a bar, which no white space is.
            let bare: Vec<String> = texts.iter().map(|t| t.replace('|', "")).collect();
            // A part's heading stands in capitals there.
            let low: Vec<String> = bare.iter().map(|t| t.to_lowercase()).collect();
            let low: Vec<&str> = low.iter().map(String::as_str).collect();
            none("text", missing(&low, &to_text(&paper, 80).replace('|', "").to_lowercase()));
            none("html", out_of_place(&texts, &of_html(&to_html(&paper))));
            none("json", missing(&texts, &json_of(&paper)));
            none("pdf", missing(&texts, &of_pdf(&to_pdf(&paper))));
        }
    }
}

#[test]
fn the_comparison_notices_one_other_digit_in_any_form() {
    let cuts = judged().iter().find(|j| j.0 == "add-cellular").expect("cuts");
    let (_, letter) = papers(&cuts.1).remove(0);
    let texts: Vec<String> = letter.texts().iter().map(|t| t.replace("7 times", "8 times")).collect();
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    assert_ne!(texts, letter.texts());
    for form in [to_text(&letter, 80), of_html(&to_html(&letter)), json_of(&letter), of_pdf(&to_pdf(&letter))] {
        assert!(missing(&texts, &form).is_some());
    }
}

#[test]
fn the_letter_is_one_page_and_a_paper_gives_the_same_bytes_again() {
    let dir = tempfile::tempdir().expect("a directory");
    for (site, s) in judged() {
        for (word, paper) in papers(s) {
            let bytes = to_pdf(&paper);
            assert!(bytes == to_pdf(&paper), "{site}, {word}");
            let file = dir.path().join("paper.pdf");
            std::fs::write(&file, &bytes).expect("written");
            let pages = pages_of(&file);
            assert!(word != "letter" || pages == 1, "{site}: {pages} pages");
        }
    }
}

/// As `pdfinfo` of poppler-utils reads the tags (ISO 32000-1, 14.8.4 [ISO32000]): each, and what it stands in.
fn tags_of(bytes: &[u8]) -> Vec<(String, String)> {
    let dir = tempfile::tempdir().expect("a directory");
    let file = dir.path().join("paper.pdf");
    std::fs::write(&file, bytes).expect("written");
    let told = run("pdfinfo", &["-struct".as_ref(), file.as_os_str()]);
    let mut stack: Vec<(usize, String)> = Vec::new();
    let mut out = Vec::new();
    for line in told.lines() {
        let depth = line.len() - line.trim_start().len();
        let name = line.trim_start().split([' ', ':']).next().unwrap_or_default().to_owned();
        stack.retain(|(d, _)| *d < depth);
        out.push((stack.last().map(|(_, n)| n.clone()).unwrap_or_default(), name.clone()));
        stack.push((depth, name));
    }
    out
}

#[test]
fn tables_and_lists_are_tagged_as_such_for_whoever_is_read_to() {
    for (site, s) in judged() {
        for (word, paper) in papers(s) {
            let tags = tags_of(&to_pdf(&paper));
            let count = |within: &str, name: &str| tags.iter().filter(|(w, n)| w == within && n == name).count();
            let (mut tables, mut rows, mut cells, mut items) = (0, 0, 0, 0);
            for b in &paper.blocks.0 {
                match b {
                    Block::Table { head, rows: r, .. } => {
                        tables += 1;
                        rows += 1 + r.len();
                        cells += head.len() + r.iter().map(Vec::len).sum::<usize>();
                    }
                    Block::Pairs { pairs } => {
                        tables += 1;
                        rows += pairs.len();
                        cells += 2 * pairs.len();
                    }
                    Block::List { items: i } => items += i.len(),
                    _ => {}
                }
            }
            let told = [
                count("Document", "Table"),
                count("Table", "TR"),
                count("TR", "TH") + count("TR", "TD"),
                count("LI", "LBody"),
            ];
            assert_eq!(told, [tables, rows, cells, items], "{site}, {word}: {tags:?}");
            assert_eq!(count("L", "LI"), items, "{site}, {word}");
        }
    }
}
