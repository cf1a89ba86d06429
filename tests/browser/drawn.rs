//! Pages of simulated sites in a real browser: every view, both themes, phone and desktop, hostile text included.

use crate::hand::Hand;
use crate::snapshots::{self, zone};
use pathproof::show::page::{ASSETS, Look, Window, home, login, technician};
use pathproof::snapshot::Snapshot;
use serde_json::{Value, json};
use std::path::Path;

/// The policy that the server sends with every page.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

fn sends() -> Vec<String> {
    vec!["the router, 192.0.2.1: is it there, each 5 s".into(), snapshots::HOSTILE.into()]
}

/// Writes the pages and what they ask for; gives the pages' addresses.
fn draw(dir: &Path) -> Vec<String> {
    let mut files = serde_json::Map::new();
    let mut add = |address: &str, media: &str, body: &str| {
        let name = format!("f{}", files.len());
        std::fs::write(dir.join(&name), body).expect("writes");
        files.insert(address.to_owned(), json!({ "name": name, "media": media }));
    };
    for a in ASSETS {
        add(a.path, a.media, a.body);
    }
    // A view that never says a word.
    add("/live", "text/event-stream", ": nothing\n\n");
    let (zone, sends) = (zone(), sends());
    let mut pages = vec!["/login".to_owned(), "/login-wrong".to_owned()];
    add("/login", "text/html; charset=utf-8", &login(false));
    add("/login-wrong", "text/html; charset=utf-8", &login(true));
    for (name, s) in snapshots::all() {
        let mut on: Snapshot = s.clone();
        on.watch.ended = None;
        let look = Look { snapshot: &on, zone: &zone, now_s: on.watch.elapsed_s + 1.0, sends: &sends, record: "r.db" };
        let part = Window { from_s: on.watch.elapsed_s / 3.0, to_s: on.watch.elapsed_s / 2.0 };
        for (view, text) in
            [("home", home(&look)), ("technician", technician(&look, None)), ("part", technician(&look, Some(part)))]
        {
            let address = format!("/{name}/{view}");
            add(&address, "text/html; charset=utf-8", &text);
            pages.push(address);
        }
    }
    std::fs::write(dir.join("files.json"), Value::Object(files).to_string()).expect("writes");
    pages
}

#[test]
fn every_view_of_every_kind_of_record_is_sound_in_both_themes() {
    let dir = tempfile::tempdir().expect("a folder");
    let pages = draw(dir.path());
    let mut hand = Hand::open(None);
    hand.order("serve", json!({ "dir": dir.path(), "policy": POLICY }));
    let looks = [("phone", "light"), ("desktop", "dark"), ("desktop", "light"), ("phone", "dark")];
    for (n, page) in pages.iter().enumerate() {
        // The views of one record in every look, the others in one each, by turns.
        let these = if page.starts_with("/mend-first") { &looks[..] } else { &looks[n % 4..=n % 4] };
        for (size, theme) in these {
            hand.goto(page, size, theme, true);
            let what = format!("{page}, {size}, {theme}");
            hand.is_sound(&what);
            hand.is_valid(&what);
            assert_eq!(hand.place()["sideways"], 0, "{what} runs off the side");
            hand.shot(&format!("{}-{size}-{theme}", page.trim_matches('/').replace('/', "-")));
        }
    }
}

#[test]
fn hostile_text_makes_nothing_of_itself() {
    let dir = tempfile::tempdir().expect("a folder");
    draw(dir.path());
    let mut hand = Hand::open(None);
    hand.order("serve", json!({ "dir": dir.path(), "policy": POLICY }));
    for view in ["home", "technician", "part"] {
        hand.goto(&format!("/hostile/{view}"), "desktop", "light", true);
        assert!(hand.text("body").contains("<script>alert(1)</script>"), "{view}: it is shown as text");
        for (what, count) in [("img", 0), ("script", 1), ("[onerror]", 0), ("[style]", 0), ("iframe", 0)] {
            assert_eq!(hand.order("count", json!({ "selector": what }))["count"], count, "{view}: {what}");
        }
        // No dialog, no refusal by the policy, nobody else asked.
        hand.is_quiet(view);
    }
}
