//! The pages of a watch at work, on a site of network namespaces with real servers: a fault comes and goes, the watch
//! is started anew, the page is stepped through, weighed, and used without script.

use crate::hand::Hand;
use crate::lateness::Stretch;
use crate::place::{Place, inside};
use serde_json::json;
use std::fs::File;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

/// A fault is on the page within this, from the moment it is made.
const SEEN_WITHIN: u64 = 5_000;
/// What a page may weigh with all it asks for, bytes.
const MOST: u64 = 150_000;

const WORKS: &str = "The alarm’s way out works";
const FAILS: &str = "does not work right now";

/// A watch in the site's host.
fn watch(place: &Place, n: u32) -> Child {
    let log = File::create(place.dir().join(format!("watch-{n}.log"))).expect("a log");
    let site = place.site_file("");
    let child = inside(&place.ns("host"))
        .arg(env!("CARGO_BIN_EXE_pathproof"))
        .arg("watch")
        .arg(site)
        .arg("--record")
        .arg(place.dir().join("r.db"))
        .args(["--page", "127.0.0.1:9760", "--metrics", "off"])
        .stdin(Stdio::null())
        .stdout(log.try_clone().expect("the same log"))
        .stderr(log)
        .spawn()
        .expect("starts");
    place.until_open("host", "tcp", 9_760);
    child
}

/// Ends a watch, cleanly.
fn stop(mut watch: Child) {
    let pid = i32::try_from(watch.id()).expect("a process id");
    nix::sys::signal::kill(nix::unistd::Pid::from_raw(pid), nix::sys::signal::Signal::SIGTERM).expect("it runs");
    watch.wait().expect("ends");
}

fn pause(seconds: u64) {
    std::thread::sleep(Duration::from_secs(seconds));
}

#[test]
fn a_fault_comes_and_goes_on_the_page_and_the_page_outlives_the_watch() {
    let mut place = Place::new("page");
    let first = watch(&place, 1);
    let mut hand = Hand::open(Some(inside(&place.ns("host"))));
    hand.beside(first.id());
    hand.order("at", json!({ "address": "http://127.0.0.1:9760" }));
    pause(2);
    hand.goto("/", "phone", "light", true);
    hand.wait("#plain", WORKS, 20_000);
    hand.wait("#fresh", "Live. Last word from the box", 8_000);
    hand.is_sound("home, live, light");
    hand.shot("live-home-works");
    hand.order("click", json!({ "selector": "#sent summary" }));
    assert!(hand.text("#sends").contains("198.51.100.40"), "whom it asks is told: {}", hand.text("#sends"));

    // The receiver ends: from then on it refuses.
    place.kill("receiver");
    let began = Instant::now();
    hand.wait("#plain", FAILS, SEEN_WITHIN);
    println!("the receiver's end was on the page after {} ms", began.elapsed().as_millis());
    hand.wait("#way", "Here it stops", 5_000);
    hand.shot("live-home-fails");
    place.receiver();
    let began = Instant::now();
    hand.wait("#plain", WORKS, 20_000);
    println!("its return after {} ms", began.elapsed().as_millis());

    // The lead is pulled at the switch.
    place.ip("sw", "link set port0 down");
    let began = Instant::now();
    hand.wait("#plain", FAILS, SEEN_WITHIN);
    println!("a pulled lead was on the page after {} ms", began.elapsed().as_millis());
    hand.wait("#now", "network lead", 5_000);
    place.ip("sw", "link set port0 up");
    hand.wait("#plain", WORKS, 30_000);
    hand.wait("#week", "An alarm had no way out", 10_000);
    hand.is_quiet("home, all the time");

    // The watch ends and is started anew: the page says it has lost touch, and finds back by itself.
    stop(first);
    let began = Instant::now();
    hand.wait("#lost", "has lost touch with the box", 20_000);
    println!("a lost watch was said after {} ms", began.elapsed().as_millis());
    let second = watch(&place, 2);
    hand.beside(second.id());
    let began = Instant::now();
    hand.wait("#fresh", "Live.", 20_000);
    println!("the page found back {} ms after the watch listened again", began.elapsed().as_millis());
    assert_eq!(hand.text("#lost"), "");
    hand.wait("#plain", WORKS, 20_000);
    place.kill("receiver");
    hand.wait("#plain", FAILS, SEEN_WITHIN);
    place.receiver();
    hand.wait("#plain", WORKS, 20_000);
    stop(second);
}

#[test]
fn the_technicians_view_is_stepped_through_by_key_by_link_and_without_script() {
    let mut place = Place::new("tech");
    let watch = watch(&place, 1);
    let mut hand = Hand::open(Some(inside(&place.ns("host"))));
    hand.beside(watch.id());
    hand.order("at", json!({ "address": "http://127.0.0.1:9760" }));
    pause(12);
    place.kill("receiver");
    pause(6);
    place.receiver();
    pause(20);
    for (size, theme) in [("desktop", "light"), ("phone", "dark")] {
        let ms = hand.goto("/technician", size, theme, true);
        let weight = hand.order("weight", json!({}))["bytes"].as_u64().expect("bytes");
        println!("technician, {size}: {weight} bytes, loaded in {ms} ms");
        assert!((20_000..MOST).contains(&weight), "{weight} bytes");
        hand.wait("#happened", "receiver refused", 10_000);
        hand.is_sound(&format!("technician, live, {size}, {theme}"));
        hand.shot(&format!("live-technician-{size}"));
    }
    // By key, while the diagram has the focus; the focus stays, and so does the place on the page.
    hand.goto("/technician", "desktop", "light", true);
    hand.order("focus", json!({ "selector": "#lanes-drawn" }));
    let down = hand.place()["down"].clone();
    hand.order("press", json!({ "key": "+" }));
    hand.wait("#step-earlier", "Earlier", 5_000);
    let there = hand.place();
    assert!(there["address"].as_str().is_some_and(|a| a.contains("from=")), "{there}");
    assert_eq!((&there["focus"], &there["down"]), (&json!("lanes-drawn"), &down));
    hand.order("press", json!({ "key": "ArrowLeft" }));
    let moved = || "the diagram is further on".to_owned();
    Stretch::begin(&[]).until(Duration::from_secs(5), moved, || hand.place()["address"] != there["address"]);
    hand.order("press", json!({ "key": "-" }));
    hand.order("focus", json!({ "selector": "header nav a" }));
    pause(1);
    let before = hand.place()["address"].clone();
    hand.order("press", json!({ "key": "ArrowLeft" }));
    pause(1);
    assert_eq!(hand.place()["address"], before, "keys are the browser's where the diagram has no focus");
    // It is live: what is drawn moves on.
    hand.goto("/technician", "desktop", "light", true);
    let drawn = hand.text("#diagram .small");
    hand.wait_for("#diagram .small", &drawn, true, 45_000);
    hand.is_quiet("technician, all the time");

    // Without script: the same page, and stepping by links.
    hand.goto("/", "phone", "dark", false);
    assert!(hand.text("#plain").contains(WORKS));
    assert!(hand.text("#fresh").contains("load the page again"));
    assert!(hand.text("#week").contains("An alarm had no way out"));
    let weight = hand.order("weight", json!({}))["bytes"].as_u64().expect("bytes");
    assert!((5_000..MOST).contains(&weight), "{weight} bytes");
    hand.order("click", json!({ "selector": "header nav li:nth-child(2) a" }));
    hand.order("click", json!({ "selector": "#step-closer" }));
    let closer = hand.place();
    assert!(closer["address"].as_str().is_some_and(|a| a.contains("from=")), "{closer}");
    hand.order("click", json!({ "selector": "#step-later" }));
    assert_ne!(hand.place()["address"], closer["address"]);
    hand.is_quiet("without script");
    stop(watch);
}
