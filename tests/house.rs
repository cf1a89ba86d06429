//! The house rules that a compiler does not check: which room may know which (DEVELOPERS.md, "Map"), and that files
//! stay small.

#[path = "house/imports.rs"]
mod imports;
#[path = "house/sources.rs"]
mod sources;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Room -> rooms of the crate it may name. `agent` and `cli` may name all.
const MAY_USE: [(&str, &[&str]); 13] = [
    ("judge", &[]),
    ("wire", &["judge"]),
    ("worksheet", &["judge", "wire"]),
    ("sys", &["judge", "wire"]),
    ("site", &["judge", "probe", "show", "sys", "worksheet"]),
    ("probe", &["judge", "site", "sys", "wire"]),
    ("record", &["judge"]),
    ("words", &["judge"]),
    ("snapshot", &["judge", "words"]),
    ("show", &["judge", "snapshot", "words", "worksheet"]),
    ("metrics", &["judge", "snapshot"]),
    ("serve", &["judge", "metrics", "record", "show", "snapshot", "sys", "wire"]),
    ("practice", &["judge", "site", "snapshot", "sys", "wire", "show"]),
];

fn rust_files(dir: &Path) -> Vec<PathBuf> {
    let mut out = Vec::new();
    for entry in std::fs::read_dir(dir).expect("source directory reads") {
        let path = entry.expect("entry reads").path();
        if path.is_dir() {
            out.extend(rust_files(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
    out
}

/// Rooms named as `crate::room` in the file's code, comments left out.
fn rooms_named(text: &str) -> BTreeSet<String> {
    let code: Vec<&str> = text.lines().filter(|l| !l.trim_start().starts_with("//")).collect();
    let code = code.join("\n");
    let mut rooms = BTreeSet::new();
    for part in code.split("crate::").skip(1) {
        if let Some(list) = part.strip_prefix('{') {
            // `use crate::{a::B, c}`: every word at the start of an item of the outermost braces.
            let mut depth = 1;
            let mut at_item = true;
            let mut word = String::new();
            for c in list.chars() {
                match c {
                    '{' => depth += 1,
                    '}' => depth -= 1,
                    _ => {}
                }
                if depth == 1 && at_item && (c.is_alphanumeric() || c == '_') {
                    word.push(c);
                } else if !word.is_empty() {
                    rooms.insert(std::mem::take(&mut word));
                    at_item = false;
                }
                if depth == 1 && c == ',' {
                    at_item = true;
                }
                if depth == 0 {
                    break;
                }
            }
        } else {
            rooms.insert(part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    rooms
}

#[test]
fn every_room_knows_only_what_it_may() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let rooms: BTreeSet<&str> = MAY_USE.iter().map(|(r, _)| *r).chain(["agent", "cli"]).collect();
    let mut wrong = Vec::new();
    let mut read = 0;
    for file in rust_files(&src) {
        let inside = file.strip_prefix(&src).expect("under src").to_string_lossy().into_owned();
        let room = inside.split('/').next().expect("has a first part").trim_end_matches(".rs").to_owned();
        let Some((_, may)) = MAY_USE.iter().find(|(r, _)| *r == room) else { continue };
        read += 1;
        for named in rooms_named(&std::fs::read_to_string(&file).expect("file reads")) {
            if rooms.contains(named.as_str()) && named != room && !may.contains(&named.as_str()) {
                wrong.push(format!("{inside} names crate::{named}"));
            }
        }
    }
    assert!(read > 20, "only {read} files read");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_reader_of_rooms_sees_both_ways_of_naming_one() {
    let named = rooms_named(
        "use crate::judge::{A, b::C};\nuse crate::{sys::clock, site::{Plan, x}};\n// crate::cli\nfn f() { crate::show::x() }",
    );
    assert_eq!(named.into_iter().collect::<Vec<_>>(), ["judge", "show", "site", "sys"]);
}

/// Searches in text that `show` makes: file, how many, and why none of them reads a sentence of the snapshot.
const SEARCHES: [(&str, usize, &str); 8] = [
    ("escape.rs", 3, "a shell word and its quotes"),
    ("page/technician.rs", 1, "an anchor made of a link's own words"),
    ("paper/letter.rs", 1, "the full stop of a fault that stands apart, where the letter sets its own"),
    ("paper/mask.rs", 4, "addresses, which are masked wherever they stand"),
    ("paper/part/answers.rs", 1, "the tenths of a length it has just written"),
    ("paper/pdf/blocks.rs", 1, "words, to break lines between"),
    ("paper/pdf/pages.rs", 1, "words, to break lines between"),
    ("columns.rs", 1, "words, to break lines between"),
];

/// Calls that search in text, however their argument looks, and those that do where it is text.
const ALWAYS: [&str; 10] = [
    ".split(",
    ".split_once(",
    ".rsplit(",
    ".rsplit_once(",
    ".strip_prefix(",
    ".strip_suffix(",
    ".starts_with(",
    ".ends_with(",
    ".trim_end_matches(",
    ".trim_start_matches(",
];
const WITH_TEXT: [&str; 4] = [".contains(", ".find(", ".replace(", ".matches("];

/// How many searches in text a line makes.
fn searches(line: &str) -> usize {
    let with_text = |call: &&str| -> usize {
        let argument = |part: &str| part.trim_start_matches(['&', '[']).starts_with(['"', '\'']);
        line.split(call).skip(1).filter(|part| argument(part)).count()
    };
    ALWAYS.iter().map(|call| line.matches(call).count()).sum::<usize>() + WITH_TEXT.iter().map(with_text).sum::<usize>()
}

/// What was seen and why stands in the snapshot as types; a renderer that searched its sentences would break with them.
#[test]
fn no_renderer_searches_in_the_words_of_a_snapshot() {
    let show = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/show");
    let mut wrong = Vec::new();
    for file in rust_files(&show) {
        let inside = file.strip_prefix(&show).expect("under show").to_string_lossy().into_owned();
        let text = std::fs::read_to_string(&file).expect("file reads");
        let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
        let found: usize = code.lines().filter(|l| !l.trim_start().starts_with("//")).map(searches).sum();
        let allowed = SEARCHES.iter().find(|(f, ..)| *f == inside).map_or(0, |(_, n, _)| *n);
        if found != allowed {
            wrong.push(format!("{inside}: {found} searches in text, {allowed} allowed"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_counter_of_searches_sees_text_and_leaves_lists_and_ranges() {
    for (line, n) in [
        (r#"seen.find(|e| e.contains(" answered") && !e.contains("0 answered"))"#, 2),
        (r#"told.split_once(", ").map(f)"#, 1),
        (r"text.replace(' ', x)", 1),
        (r"whole.contains(&t.number) && (0.0..1.0).contains(&p)", 0),
        (r"s.lanes.iter().find(|v| v.lane == lane)", 0),
    ] {
        assert_eq!(searches(line), n, "{line}");
    }
}

#[test]
fn files_stay_small_and_open_with_what_they_decide() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut lengths = Vec::new();
    for file in rust_files(&src) {
        let text = std::fs::read_to_string(&file).expect("file reads");
        assert!(text.starts_with("//!"), "{} does not open with a paragraph", file.display());
        let lines = text.lines().count();
        assert!(lines <= 400, "{} has {lines} lines", file.display());
        lengths.push(lines);
    }
    lengths.sort_unstable();
    assert!(lengths[lengths.len() / 2] <= 143, "half of the files are longer than {}", lengths[lengths.len() / 2]);
}

#[test]
fn the_guide_for_contributors_is_short() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let guide = std::fs::read_to_string(root.join("DEVELOPERS.md")).expect("the guide reads");
    assert!(guide.len() <= 8 << 10, "DEVELOPERS.md has {} bytes: notes belong into a room's README.md", guide.len());
    for path in guide.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
        assert!(root.join(path).is_file(), "DEVELOPERS.md points to {path}, which is not there");
    }
    let src = root.join("src");
    for path in guide.split('`').skip(1).step_by(2).filter(|p| p.contains('/') && p.contains(".rs")) {
        assert!(src.join(path).is_file() || root.join(path).is_file(), "DEVELOPERS.md names {path}");
    }
}

#[test]
fn every_dependency_says_what_it_is_for() {
    let manifest = include_str!("../Cargo.toml");
    let (mut inside, mut seen) = (false, 0);
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line.ends_with("dependencies]");
        } else if inside && line.contains(" = ") {
            seen += 1;
            assert!(line.split_once(" # ").is_some_and(|(_, why)| why.len() > 5), "{line}");
        }
    }
    assert!(seen > 40, "{seen} read");
}

#[test]
fn the_top_level_holds_what_it_must_and_no_more() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let entries = std::fs::read_dir(root).expect("the top level reads");
    let seen: BTreeSet<String> = entries
        .map(|e| e.expect("an entry reads").file_name().to_string_lossy().into_owned())
        // What is hidden; what the build makes.
        .filter(|name| !name.starts_with('.') && name != "Cargo.lock" && name != "target")
        .collect();
    let wanted = ["Cargo.toml", "DEVELOPERS.md", "README.md", "config", "deploy", "src", "tests"];
    assert_eq!(seen.iter().map(String::as_str).collect::<Vec<_>>(), wanted);
}

fn imports() -> &'static imports::Imports {
    static READ: OnceLock<imports::Imports> = OnceLock::new();
    READ.get_or_init(|| imports::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src")))
}

/// The floors of the judge, from the ground up; what stands in none of them is on top.
const FLOORS: [&str; 5] = ["facts", "stats", "lanes", "causes", "decide"];

fn floor_of(file: &str) -> Option<usize> {
    let inside = file.strip_prefix("judge/")?;
    Some(FLOORS.iter().position(|f| inside.split('/').next() == Some(f)).unwrap_or(FLOORS.len()))
}

#[test]
fn no_circle_of_files() {
    let imports = imports();
    assert!(imports.values().map(BTreeSet::len).sum::<usize>() > 500, "imports are not read");
    let told = |circle: &Vec<String>| {
        let inside = |from: &String| {
            let to: Vec<_> = imports[from].iter().filter(|to| circle.contains(to)).cloned().collect();
            format!("{from} -> {}", to.join(", "))
        };
        circle.iter().map(inside).collect::<Vec<_>>().join("\n  ")
    };
    let found = imports::circles(imports);
    let told: Vec<_> = found.iter().map(told).collect();
    assert!(found.is_empty(), "circles of files:\n  {}", told.join("\n\n  "));
}

#[test]
fn each_floor_of_the_judge_uses_only_what_stands_below_it() {
    let imports = imports();
    let mut wrong = Vec::new();
    for (from, all) in imports {
        let Some(floor) = floor_of(from) else { continue };
        let above = all.iter().filter(|to| floor_of(to).is_some_and(|f| f > floor));
        wrong.extend(above.map(|to| format!("{from} uses {to}")));
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_reader_of_imports_follows_re_exports_macros_and_globs_and_leaves_tests_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        std::fs::write(path, text).expect("written");
    };
    write("lib.rs", "mod a; mod b; mod c; mod d; pub use b::deep::Thing;");
    write("a.rs", "use crate::Thing; fn f() { println!(\"{}\", crate::c::count()) } pub struct A;");
    write("b/mod.rs", "pub mod deep; pub use deep::*;");
    write("b/deep.rs", "pub struct Thing; pub const LEFT: u8 = 0; #[cfg(test)] mod tests { use crate::a::A; }");
    write("c.rs", "use crate::b::*; pub fn count() -> u8 { LEFT }");
    write(
        "d.rs",
        "use std::fmt; use super::a::{A as Other}; impl fmt::Display for Other {} mod inner { use crate::d; }",
    );
    let imports = imports::read(folder.path());
    let of = |file: &str| imports[file].iter().map(String::as_str).collect::<Vec<_>>();
    assert_eq!(of("a.rs"), ["b/deep.rs", "c.rs"]);
    assert_eq!((of("b/mod.rs"), of("b/deep.rs"), of("c.rs")), (vec![], vec![], vec!["b/deep.rs"]));
    assert_eq!(of("d.rs"), ["a.rs"]);
    assert!(imports::circles(&imports).is_empty());
    write("b/deep.rs", "pub struct Thing(crate::a::A);");
    assert_eq!(imports::circles(&imports::read(folder.path())), [["a.rs", "b/deep.rs"]]);
}
