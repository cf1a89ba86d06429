//! A real watch: a fault on its page within seconds, one number from page, API, metrics and terminal, and the API held
//! against its document by other people's program (schemathesis, in `target/python`, put there by `tests/run`).

use crate::lateness::{Stretch, hold};
use crate::watching::{SITE, Watch, once, refused};
use pathproof::judge::Micros;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::time::Duration;

/// Opens a view, brings the far ends down and up again, and says how long each took to show.
const FAULT: &str = "
import os, sys, time, urllib.request
view = urllib.request.urlopen('http://127.0.0.1:9760/live?view=home', timeout=30)
def looks():
    name, data = '', []
    for line in view:
        line = line.decode().rstrip('\\n')
        if line.startswith('event: '):
            name = line[7:]
        elif line.startswith('data: '):
            data.append(line[6:])
        elif not line:
            if name == 'look':
                yield '\\n'.join(data)
            name, data = '', []
look = looks()
def plain(main):
    return main.split('id=\"plain\"')[1].split('</h1>')[0].split('<h1')[1]
was = plain(next(look))
began = time.monotonic()
open('down', 'w').close()
while plain(now := next(look)) == was:
    pass
print(time.monotonic() - began)
bad = plain(now)
time.sleep(6)
began = time.monotonic()
os.remove('down')
while plain(now := next(look)) == bad or 'could not' in plain(now):
    pass
print(time.monotonic() - began)
print(was, '|', bad, '|', plain(now), file=sys.stderr)
";

#[test]
fn a_fault_is_on_the_page_within_seconds_and_four_ways_tell_the_same_of_it() {
    let mut w = Watch::start(SITE, "");
    assert!(w.log().contains("Page: open http://127.0.0.1:9760/ in a browser on this host"), "{}", w.log());
    // Enough good answers that a failure is one.
    w.until("answers", |w| {
        w.api("observations?lane=receiver&limit=1000")["items"].as_array().is_some_and(|i| i.len() > 25)
    });
    let stretch = Stretch::begin(&[w.pid()]);
    let took: Vec<f64> =
        w.beside(&["/usr/bin/python3", "-c", FAULT]).lines().map(|l| l.parse().expect("seconds")).collect();
    println!("on the page after {:.1} s, gone from it after {:.1} s", took[0], took[1]);
    let (seconds, late) = (Duration::from_secs_f64, stretch.late());
    hold("on the page", seconds(took[0]), seconds(5.0), late);
    hold("gone from it", seconds(took[1]), seconds(10.0), late);
    w.until("the outage is over", |w| w.api("outages")["items"][0]["ended"].is_string());
    // The verdict is reached anew ten seconds after the troubles have changed.
    w.until("a verdict of the whole outage", |w| {
        let v = w.api("verdict");
        // A lane is clear only three seconds after its last failure: a verdict reached sooner still calls it open.
        v["reached_s"].as_f64() > w.api("outages")["items"][0]["end_s"][2].as_f64().map(|end| end + 4.0)
    });
    let api = w.api("outages");
    let from_api = api["total"].as_u64().expect("a number");
    assert_eq!(from_api, 1, "{api}");
    let metrics = w.text("http://127.0.0.1:9750/metrics");
    let from_metrics: f64 = metrics
        .lines()
        .filter(|l| l.starts_with("pathproof_outages{"))
        .map(|l| l.rsplit(' ').next().expect("a value").parse::<f64>().expect("a number"))
        .sum();
    let length: f64 = metrics
        .lines()
        .filter(|l| l.starts_with("pathproof_outages_length_seconds{"))
        .map(|l| l.rsplit(' ').next().expect("a value").parse::<f64>().expect("a number"))
        .sum();
    assert!((from_metrics - from_api as f64).abs() < 1e-9, "{from_metrics} {from_api}");
    // How long the path could not deliver, in words: once over, it stays.
    let words = Micros((length * 1e6).round() as i64).to_string();
    assert!(length > 5.0 && words.ends_with(" s"), "{words}");
    let down = |edge: &str| api["items"][0][edge][1].as_f64().expect("a middle");
    assert!((down("down_to_s") - down("down_from_s") - length).abs() < 1e-6, "{api}");
    assert!(api["items"][0]["sentence"].as_str().expect("words").contains(&words), "{words}: {api}");
    let said = format!("1 outage, {words} in all");
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let reasons = w.api("verdict")["verdict"]["reasons"].to_string();
    assert!(reasons.contains(&said), "{said}: {reasons}");
    let page = flat(&w.text("http://127.0.0.1:9760/technician"));
    assert!(page.contains(&said), "{said}: {page}");
    let home = flat(&w.text("http://127.0.0.1:9760/"));
    assert!(home.contains(&words), "{words}: {home}");
    assert_eq!(w.stop(), Some(0));
    let terminal = flat(&once(w.dir.path(), &["report", "r.db"]));
    assert!(terminal.contains(&said), "{said}: {terminal}");
}

/// Asks with TLS, without a token, with the token, and says what came.
const OVER_TLS: &str = "
import ssl, sys, urllib.request, urllib.error
context = ssl.create_default_context(cafile='r.db.page.pem')
for token in (None, 'wrong-horse-battery', open('token').read()):
    request = urllib.request.Request('https://127.0.0.1:9760/api/v1/verdict')
    if token:
        request.add_header('Authorization', 'Bearer ' + token)
    try:
        print(urllib.request.urlopen(request, context=context, timeout=10).status)
    except urllib.error.HTTPError as e:
        print(e.code)
";

#[test]
fn on_a_network_it_speaks_tls_and_asks_for_the_token() {
    let mut w = Watch::start(SITE, "--page 0.0.0.0:9760 --page-token token");
    w.says("compare its SHA-256 fingerprint once:");
    let log = w.log();
    assert!(log.contains("Page: open https://"), "{log}");
    let fingerprint = |log: &str| {
        let after = log.rsplit("fingerprint once:\n").next().expect("there").trim_start().lines().next();
        after.expect("a line").to_owned()
    };
    let first = fingerprint(&log);
    assert_eq!(first.split(':').count(), 32, "{first}");
    assert_eq!(w.beside(&["/usr/bin/python3", "-c", OVER_TLS]).lines().collect::<Vec<_>>(), ["401", "401", "200"]);
    for kept in ["r.db.page.pem", "r.db.page.secret"] {
        let mode = std::fs::metadata(w.path(kept)).expect("kept").permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{kept}");
    }
    assert_eq!(w.stop(), Some(0));
    w.again("--page 0.0.0.0:9760 --page-allow 127.0.0.0/8");
    w.until("the same certificate", |w| w.log().matches("fingerprint once:").count() == 2);
    assert_eq!(fingerprint(&w.log()), first);
    assert_eq!(w.beside(&["/usr/bin/python3", "-c", OVER_TLS]).lines().collect::<Vec<_>>(), ["200", "200", "200"]);
}

#[test]
fn what_would_be_open_or_makes_no_sense_is_refused_before_anything_is_begun() {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::write(dir.path().join("short"), "secret\n").expect("writes");
    for (options, words) in [
        (&["--page", "0.0.0.0:9760"][..], "--page-token FILE"),
        (&["--page", "nowhere"], "give an address and a port"),
        (&["--page-token", "short"], "16 to 512 printable characters"),
        (&["--page-token", "missing"], "--page-token missing"),
        (&["--page-allow", "192.0.2.0/33"], "192.0.2.0/24"),
        (&["--page-cert", "short"], "--page-key"),
    ] {
        let args = [&["watch", "--record", "r.db"], options].concat();
        let out = refused(dir.path(), &args);
        assert!(out.contains(words), "{options:?}: {out}");
        assert!(!dir.path().join("r.db").exists(), "{options:?}");
    }
}

/// Every answer as documented, no server error, with made-up and with wrong requests.
#[test]
fn the_api_is_as_its_document_has_it() {
    let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/python/bin/schemathesis");
    assert!(program.exists(), "{} is not there: tests/run installs it", program.display());
    let mut w = Watch::start(SITE, "");
    w.until("answers", |w| w.api("observations?limit=1000")["items"].as_array().is_some_and(|i| i.len() > 50));
    let said = w.beside(&[
        program.to_str().expect("a path of ours"),
        "run",
        "http://127.0.0.1:9760/api/v1/openapi.json",
        "--checks=all",
        "--max-examples=40",
        "--seed=20261125",
        "--request-timeout=10",
        "--no-color",
        "--generation-database=none",
    ]);
    println!("{said}");
    assert_eq!(w.stop(), Some(0));
}
