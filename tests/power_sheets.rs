//! The power sheet from outside: the three invented sites under `config/power/` give exactly what is kept beside the
//! golden files, in every form, and without a network.
//!
//! With `PATHPROOF_GOLDEN=write` the kept sheets are written anew; read the difference before you commit it.

use pathproof::show::{escape, power};
use pathproof::site::load;
use pathproof::worksheet::sheet::{PowerSheet, Stand, sheet};
use std::path::Path;
use std::process::Command;

const SITES: [&str; 3] = ["home", "shop", "farmhouse"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn of(name: &str) -> PowerSheet {
    let path = root().join(format!("config/power/{name}.toml"));
    let file = load(name, &std::fs::read(path).expect("shipped")).expect("sound");
    sheet(&file.background.power(&file.id))
}

fn golden(name: &str, now: &str) {
    let path = root().join("tests/golden").join(name);
    if std::env::var("PATHPROOF_GOLDEN").is_ok_and(|v| v == "write") {
        std::fs::write(path, now).expect("the source tree can be written");
        return;
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(kept == now, "{name} differs.\nkept:\n{kept}\nnow:\n{now}");
}

#[test]
fn the_invented_sites_give_the_sheets_that_are_kept() {
    for name in SITES {
        let s = of(name);
        golden(&format!("power-{name}.txt"), &power::terminal(&s, 80));
        golden(&format!("power-{name}.json"), &power::to_json(&s));
        golden(&format!("power-{name}.html"), &power::to_html(&s));
    }
}

fn stand(s: &PowerSheet, what: &str) -> Stand {
    let mut lines = s.parts.iter().flat_map(|p| &p.lines);
    lines.find(|l| l.what.starts_with(what)).unwrap_or_else(|| panic!("no line {what}")).stand
}

#[test]
fn the_sheets_find_what_was_put_wrong() {
    let home = of("home");
    // 35 + 30 mA and 75 mA on 850; 2.8 is older than 2.31; 120 ft of 22 AWG solid at 75 mA loses 0.3 V.
    assert_eq!(stand(&home, "Auxiliary"), Stand::Enough);
    assert_eq!(stand(&home, "Panel firmware"), Stand::Short);
    assert_eq!(stand(&home, "Voltage"), Stand::Enough);
    assert_eq!(stand(&home, "Four-conductor"), Stand::Short);
    assert_eq!(stand(&home, "The chain"), Stand::Short);
    let shop = of("shop");
    assert_eq!(stand(&shop, "Auxiliary"), Stand::Short);
    assert_eq!(stand(&shop, "Voltage"), Stand::Short);
    assert_eq!(stand(&shop, "Four-conductor"), Stand::Enough);
    assert_eq!(stand(&shop, "Panel firmware"), Stand::Enough);
    assert_eq!(stand(&shop, "Panel battery's age"), Stand::Short);
    assert_eq!(stand(&shop, "Is that long enough"), Stand::Short);
    let farm = of("farmhouse");
    assert_eq!(stand(&farm, "Standby battery"), Stand::Open);
    assert_eq!(stand(&farm, "Is that long enough"), Stand::Short);
}

#[test]
fn a_price_is_spoken_of_only_where_one_was_entered() {
    let text = |name| power::terminal(&of(name), 80);
    assert!(text("shop").contains("What an hour costs by a bigger battery"));
    assert!(text("shop").contains("What an hour costs by a cellular path"));
    for name in ["home", "farmhouse"] {
        assert!(!text(name).contains("costs"), "{name}");
    }
}

#[test]
fn every_line_says_how_from_what_and_by_whom() {
    for name in SITES {
        let s = of(name);
        for l in s.parts.iter().flat_map(|p| &p.lines) {
            assert!(!l.formula.is_empty() && !l.source.is_empty() && !l.result.is_empty(), "{name}: {l:?}");
            assert!(!l.tag.is_empty() && l.inputs.iter().all(|i| !i.tag.is_empty() && !i.value.is_empty()), "{l:?}");
        }
        let text = power::terminal(&s, 80);
        for caution in [
            "mains off AND take its battery off",
            "short circuit burns",
            "licensed electrician",
            "out of scope",
            "Local code",
        ] {
            assert!(text.replace("\n    ", " ").contains(caution), "{name}: {caution}");
        }
    }
}

#[test]
fn terminals_of_any_width_get_lines_that_fit() {
    for name in SITES {
        for width in [40, 60, 80, 132] {
            let text = power::terminal(&of(name), width);
            assert!(text.lines().skip(1).all(|l| l.chars().count() <= width), "{name} at {width}");
        }
    }
}

#[test]
fn text_of_a_site_file_steers_nothing() {
    let mut file = load("t", b"[[gear]]\nname = \"router\"\n").expect("sound");
    // A record's plan may say what a site file may not.
    file.background.gear[0].name = "<script>alert(1)</script>\u{1b}[31m\u{202e}".into();
    let s = sheet(&file.background.power("x\u{9b}2J"));
    for text in [power::terminal(&s, 80), power::to_json(&s), power::to_html(&s)] {
        assert!(text.chars().all(|c| c == '\n' || !escape::is_steering(c)));
        assert!(text.contains("alert(1)"));
    }
    assert!(!power::to_html(&s).contains("<script"));
}

#[test]
fn every_key_of_the_json_is_documented() {
    let doc = include_str!("../src/show/json.md");
    let part = doc.split("## The power sheet").nth(1).expect("has a part");
    let mut stack = vec![serde_json::from_str::<serde_json::Value>(&power::to_json(&of("shop"))).expect("parses")];
    while let Some(v) = stack.pop() {
        match v {
            serde_json::Value::Array(items) => stack.extend(items),
            serde_json::Value::Object(map) => {
                for (key, value) in map {
                    assert!(part.contains(&format!("{key}`")) || part.contains(&format!("{key}[]")), "{key}");
                    stack.push(value);
                }
            }
            _ => {}
        }
    }
}

#[test]
fn the_command_prints_without_a_socket() {
    let program = env!("CARGO_BIN_EXE_pathproof");
    let file = root().join("config/power/shop.toml");
    let dir = tempfile::tempdir().expect("a folder");
    let page = dir.path().join("sheet.html");
    // In a user and network namespace without a single interface up (util-linux).
    let out = Command::new("unshare")
        .args(["-Urn", program, "power"])
        .arg(&file)
        .arg("--html")
        .arg(&page)
        .output()
        .expect("needs unshare of util-linux");
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(String::from_utf8(out.stdout).expect("text"), power::terminal(&of("shop"), 80));
    assert_eq!(std::fs::read_to_string(&page).expect("written"), power::to_html(&of("shop")));
    let json = Command::new(program).args(["power", "--format", "json"]).arg(&file).output().expect("runs");
    assert_eq!(String::from_utf8(json.stdout).expect("text"), power::to_json(&of("shop")));
    for (name, code) in [("no-such.toml", 66), ("bad-quantities.toml", 78)] {
        let out = Command::new(program).arg("power").arg(root().join("tests/site").join(name)).output().expect("runs");
        assert_eq!(out.status.code(), Some(code), "{name}");
        assert!(out.stdout.is_empty() && !out.stderr.is_empty(), "{name}");
    }
}
