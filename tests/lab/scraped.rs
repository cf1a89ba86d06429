//! A real Prometheus (Debian's) beside a watch on the lab's host: it scrapes, a line that is cut for longer than the
//! supervision interval raises the shipped alert with its cause, and the line's return clears it.

use crate::lateness::{Stretch, fairly, hold};
use crate::place::Place;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

const AGENT: &str = "127.0.0.1:9750";
const SERVER: &str = "127.0.0.1:9090";

/// A page fetched inside the host's namespace.
fn fetched(p: &Place, url: &str, accept: &str) -> String {
    let program = "import sys, urllib.request as u\nsys.stdout.write(u.urlopen(u.Request(sys.argv[1], headers={'Accept': sys.argv[2]}), timeout=5).read().decode())";
    let out = Command::new("ip")
        .args(["netns", "exec", &p.ns("host"), "/usr/bin/python3", "-c", program, url, accept])
        .output()
        .expect("ip runs");
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// What Prometheus knows of the alerts that fire: name and labels.
fn firing(p: &Place) -> Vec<Value> {
    let text = fetched(p, &format!("http://{SERVER}/api/v1/alerts"), "application/json");
    let json: Value = serde_json::from_str(&text).unwrap_or_default();
    let alerts = json["data"]["alerts"].as_array().cloned().unwrap_or_default();
    alerts.into_iter().filter(|a| a["state"] == "firing").map(|a| a["labels"].clone()).collect()
}

fn is(alert: &Value, name: &str) -> bool {
    alert["alertname"] == name
}

fn value(p: &Place, query: &str) -> Option<f64> {
    let text = fetched(p, &format!("http://{SERVER}/api/v1/query?query={query}"), "application/json");
    let json: Value = serde_json::from_str(&text).ok()?;
    json["data"]["result"][0]["value"][1].as_str()?.parse().ok()
}

#[track_caller]
fn until<T>(p: &Place, seconds: u64, what: &str, mut get: impl FnMut() -> Option<T>) -> T {
    let words = || {
        let metrics = fetched(p, &format!("http://{AGENT}/metrics"), "text/plain");
        format!("{what} comes: {:?}\n{metrics}\n{}", firing(p), p.log("watch"))
    };
    let mut got = None;
    Stretch::begin(&[]).until(Duration::from_secs(seconds), words, || {
        got = get();
        got.is_some()
    });
    got.expect("it is so")
}

#[test]
fn a_cut_line_raises_the_alert_and_its_return_clears_it() {
    fairly("a_cut_line_raises_the_alert_and_its_return_clears_it", || {
        let mut p = Place::new("scrape");
        let site = p.site_file("");
        let text = fs::read_to_string(&site).expect("reads").replace("supervision = \"1h\"", "supervision = \"20s\"");
        fs::write(&site, text).expect("writes");
        let folder = p.dir().to_owned();
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/prometheus");
        fs::copy(shipped.join("rules.yml"), folder.join("rules.yml")).expect("copies");
        // The example as it is shipped, but for the pace: a lab has no quarter of a minute.
        let scrape = fs::read_to_string(shipped.join("scrape.yml")).expect("reads");
        assert!(scrape.contains("_interval: 15s") && scrape.contains(AGENT));
        fs::write(folder.join("scrape.yml"), scrape.replace("_interval: 15s", "_interval: 1s")).expect("writes");

        let file = |name: &str| folder.join(name).display().to_string();
        p.start(
            "watch",
            "host",
            &[env!("CARGO_BIN_EXE_pathproof"), "watch", &file("site.toml"), "--record", &file("w.db")],
        );
        let listen = format!("--web.listen-address={SERVER}");
        let (config, data) =
            (format!("--config.file={}", file("scrape.yml")), format!("--storage.tsdb.path={}", file("tsdb")));
        p.start("prometheus", "host", &["prometheus", &config, &data, &listen]);

        until(&p, 60, "a scrape", || value(&p, "pathproof_path_state{state=%22up%22}").filter(|v| *v > 0.0));
        assert_eq!(value(&p, "up{job=%22pathproof%22}"), Some(1.0));
        assert_eq!(value(&p, "pathproof_supervision_interval_seconds{source=%22site-file%22}"), Some(20.0));
        until(&p, 60, "a verdict", || value(&p, "sum(pathproof_verdict)").filter(|v| (v - 1.0).abs() < 1e-9));
        assert_eq!(firing(&p), Vec::<Value>::new());

        let cut = Stretch::begin(&[]);
        p.drop_arriving("net", "cut", "iifname far0");
        let alert =
            until(&p, 90, "the alert", || firing(&p).into_iter().find(|a| is(a, "AlarmPathDownBeyondSupervision")));
        let after = cut.took().as_secs_f64();
        println!("the alert fired {after:.1} s after the cut, by an interval of 20 s: {alert}");
        assert!(after >= 20.0, "{after}");
        cut.within("the alert", Duration::from_secs(45));
        assert_eq!([&alert["cause"], &alert["site"]], ["access-line", "lab"]);
        let age = until(&p, 30, "an age", || value(&p, "pathproof_outage_open_age_seconds"));
        let off = Duration::from_secs_f64((age - cut.took().as_secs_f64()).abs());
        hold(&format!("its age, {age} s"), off, Duration::from_secs(4), cut.late());
        assert_eq!(value(&p, "pathproof_path_state{state=%22down%22}"), Some(1.0));
        assert_eq!(value(&p, "pathproof_path_state{state=%22blind%22}"), Some(0.0));

        // Long enough that it outlasted the interval by its later edges as well, which is what makes the breach certain.
        sleep(Duration::from_secs(6));
        p.let_pass("net", "cut");
        let mended = Instant::now();
        let gone = || firing(&p).iter().all(|a| !is(a, "AlarmPathDownBeyondSupervision")).then_some(());
        until(&p, 60, "its end", gone);
        println!("it was cleared {:.1} s after the return", mended.elapsed().as_secs_f64());
        until(&p, 30, "the breach", || {
            value(&p, "pathproof_supervision_breaches{certainty=%22certain%22}").filter(|v| *v >= 1.0)
        });
        assert_eq!(value(&p, "pathproof_outages{cause=%22access-line%22}"), Some(1.0));

        // The agent gone is silence, not an outage.
        p.kill("watch");
        until(&p, 30, "silence", || value(&p, "up{job=%22pathproof%22}").filter(|v| *v < 0.5));
        assert!(firing(&p).iter().all(|a| !is(a, "AlarmPathDownBeyondSupervision")));
    });
}
