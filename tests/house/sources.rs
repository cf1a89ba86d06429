//! The table of sources (`tests/sources.md`) against what cites it: code, checks and configuration.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Files in which sources are cited: code, tests, configuration and what is printed of them. The table itself is none,
/// nor are texts that a test wrote.
fn citing_files(root: &Path) -> Vec<PathBuf> {
    fn walk(dir: &Path, out: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(dir).expect("directory reads") {
            let path = entry.expect("entry reads").path();
            let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
            if path.is_dir() && name != "golden" && name != "node_modules" {
                walk(&path, out);
            } else if path.extension().is_some_and(|e| ["rs", "toml", "csv", "md"].iter().any(|w| e == *w))
                && name != "sources.md"
            {
                out.push(path);
            }
        }
    }
    let mut out = Vec::new();
    for dir in ["src", "tests", "config"] {
        walk(&root.join(dir), &mut out);
    }
    out.extend(["README.md", "DEVELOPERS.md", "deploy/README.md"].map(|f| root.join(f)));
    out
}

/// A file's text; some of those that must be refused are no UTF-8.
fn read(file: &Path) -> String {
    String::from_utf8_lossy(&std::fs::read(file).expect("file reads")).into_owned()
}

/// The part of a line that is for people: the comment of code and of configuration, all of a text.
fn comment<'l>(file: &Path, line: &'l str) -> &'l str {
    match file.extension().and_then(|e| e.to_str()) {
        Some("rs") => line.find("//").map_or("", |i| &line[i..]),
        Some("toml") => line.find('#').map_or("", |i| &line[i..]),
        _ => line,
    }
}

/// Keys cited in a line, capitals with a digit among them: `[GARWOOD36]`.
fn keys(text: &str) -> Vec<String> {
    let inside = text.split('[').skip(1).filter_map(|p| p.split_once(']')).map(|(key, _)| key);
    let looks = |k: &&str| {
        k.len() >= 3
            && k.starts_with(|c: char| c.is_ascii_uppercase())
            && k.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit())
            && k.contains(|c: char| c.is_ascii_digit())
    };
    inside.filter(looks).map(str::to_owned).collect()
}

/// Documents of the RFC series named in a line, as keys: `RFC 2131` is `RFC2131`.
fn documents(line: &str) -> Vec<String> {
    let numbers = line.split("RFC ").skip(1).map(|p| p.chars().take_while(char::is_ascii_digit).collect::<String>());
    numbers.filter(|n| !n.is_empty()).map(|n| format!("RFC{n}")).collect()
}

/// Manual pages and standards that a comment names by their name, as keys: `tcp(7)`, `ISO 216` is `ISO216`.
fn named(said: &str) -> Vec<String> {
    let mut out = Vec::new();
    for series in ["ISO", "IEC"] {
        let before = format!("{series} ");
        let numbers =
            said.split(&before).skip(1).map(|p| p.chars().take_while(char::is_ascii_digit).collect::<String>());
        out.extend(numbers.filter(|n| !n.is_empty()).map(|n| format!("{series}{n}")));
    }
    if said.contains("HTML standard") || said.contains("HTML Living Standard") {
        out.push("HTML".into());
    }
    let part = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || "_.-".contains(c);
    for (at, _) in said.match_indices('(') {
        let section = &said.as_bytes()[at + 1..];
        if !matches!(section, [b'1'..=b'8', b')', ..]) {
            continue;
        }
        let before = said[..at].trim_end_matches(part);
        let name = &said[before.len()..at];
        // A call in code, `Micros::from_secs(2)`, is none.
        let call = before.ends_with(|c: char| c == ':' || c.is_alphanumeric()) || name.starts_with('.');
        if name.starts_with(|c: char| c.is_ascii_lowercase()) && !call {
            out.push(said[before.len()..at + 3].to_owned());
        }
    }
    out
}

/// The table of sources: key to how it was checked.
fn sources(root: &Path) -> std::collections::BTreeMap<String, String> {
    let text = std::fs::read_to_string(root.join("tests/sources.md")).expect("the table reads");
    let mut rows = std::collections::BTreeMap::new();
    for line in text.lines().filter(|l| l.starts_with("| ")) {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let [key, source, taken, how] = cells[..] else { continue };
        if key == "key" {
            continue;
        }
        assert!(!source.is_empty() && !taken.is_empty(), "{key} has an empty cell");
        let tag = how.split([':', ';']).next().unwrap_or_default();
        assert!(["V", "S", "D", "M", "choice"].contains(&tag), "{key}: how it was checked begins with no tag: {how}");
        assert!(rows.insert(key.to_owned(), tag.to_owned()).is_none(), "{key} stands twice");
    }
    rows
}

#[test]
fn every_source_cited_has_a_row_and_every_row_is_cited() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let table = sources(root);
    assert!(table.len() > 100, "only {} rows read", table.len());
    let (mut cited, mut unknown) = (BTreeSet::new(), Vec::new());
    for file in citing_files(root) {
        for (i, line) in read(&file).lines().enumerate() {
            let said = comment(&file, line);
            for key in keys(said).into_iter().chain(documents(line)).chain(named(said)) {
                if !table.contains_key(&key) {
                    unknown.push(format!("{}:{}: {key}", file.display(), i + 1));
                }
                cited.insert(key);
            }
        }
    }
    assert!(unknown.is_empty(), "no row in tests/sources.md: {unknown:#?}");
    let unused: Vec<&String> = table.keys().filter(|k| !cited.contains(*k)).collect();
    assert!(unused.is_empty(), "rows of tests/sources.md that nobody cites: {unused:?}");
}

#[test]
fn no_tag_is_better_than_its_row() {
    // Where a tag stands in code or a requirement set, a key of its block stands just above it or on its line.
    const BETTER_FIRST: [&str; 4] = ["V", "S", "D", "M"];
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let table = sources(root);
    let rank = |tag: &str| BETTER_FIRST.iter().position(|t| *t == tag);
    let (mut wrong, mut seen) = (Vec::new(), 0);
    for file in citing_files(root) {
        let inside = file.strip_prefix(root).expect("under the root").to_string_lossy().into_owned();
        let ours = inside.starts_with("src/") || inside.starts_with("config/requirements/");
        if !ours || inside.ends_with("template.toml") {
            continue;
        }
        let text = read(&file);
        let lines: Vec<&str> = text.lines().take_while(|l| *l != "#[cfg(test)]").collect();
        for (i, line) in lines.iter().enumerate() {
            let given = ["V", "S"].into_iter().find(|t| {
                let forms =
                    [format!("tag = \"{t}\""), format!("tag: \"{t}\""), format!(", \"{t}\")"), format!("    \"{t}\",")];
                forms.iter().any(|f| line.contains(f.as_str()))
            });
            let Some(tag) = given else { continue };
            seen += 1;
            let near = &lines[i.saturating_sub(12)..=i];
            let found = near.iter().rev().flat_map(|l| keys(comment(&file, l))).find(|k| table.contains_key(k));
            let known = found.as_ref().and_then(|k| rank(&table[k]));
            if known.is_none_or(|k| Some(k) > rank(tag)) {
                wrong.push(format!("{inside}:{}: {tag}, but {}", i + 1, found.as_deref().unwrap_or("no key near it")));
            }
        }
    }
    assert!(seen > 8, "only {seen} tags read");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn no_comment_cites_notes_that_are_not_here() {
    const NOTES: [&str; 8] = ["NAME", "alarm-standards", "crates", "mibs", "power", "sources", "statistics", "trade"];
    const MARKS: [&str; 9] =
        ["[CALC]", "[PUB", "[V]", "[S]", "[M]", "[D]", "[V/D]", "[V abstract]", "Check values, section"];
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut wrong = Vec::new();
    for file in citing_files(root).into_iter().filter(|f| !f.ends_with("tests/house/sources.rs")) {
        for (i, line) in read(&file).lines().enumerate() {
            let said = comment(&file, line);
            let notes = NOTES.iter().any(|n| said.contains(&format!("facts/{n}")));
            let notes = notes || said.contains("(facts:") || said.contains("(facts ") || said.contains("Facts/");
            if notes || MARKS.iter().any(|m| said.contains(m)) {
                wrong.push(format!("{}:{}: {}", file.display(), i + 1, said.trim()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_reader_of_sources_sees_both_forms() {
    let line = "x[KEEP] // by [GARWOOD36], not [`LOOKS`] nor [a1], see RFC 2131 section 4.4.5";
    assert_eq!(keys(comment(Path::new("a.rs"), line)), ["GARWOOD36"]);
    assert_eq!(documents(line), ["RFC2131"]);
    assert!(keys(comment(Path::new("a.rs"), "let x = y[KEEP];")).is_empty());
    let said = "as tcp(7), resolv.conf(5) and ISO 216 say, not Micros::from_secs(2), f(x) nor a(12)";
    assert_eq!(named(said), ["ISO216", "tcp(7)", "resolv.conf(5)"]);
}
