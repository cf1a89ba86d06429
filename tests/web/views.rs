//! Views that stay open, and hostile text in every view.

use crate::lateness::Stretch;
use crate::{Site, connect, request, sample, snapshots};
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::time::Duration;

/// The events of an open view.
struct Events(BufReader<TcpStream>);

impl Events {
    fn open(site: &Site, view: &str) -> Self {
        let mut stream = connect(site.at, "127.0.0.1");
        stream.write_all(&request("GET", &format!("/live?view={view}"), "")).expect("takes it");
        let mut reader = BufReader::new(stream);
        let mut line = String::new();
        let mut head = String::new();
        while reader.read_line(&mut line).expect("a head") > 2 {
            head.push_str(&line);
            line.clear();
        }
        assert!(head.starts_with("HTTP/1.1 200") && head.contains("text/event-stream"), "{head}");
        Self(reader)
    }

    /// The data of the next event of a name.
    fn next(&mut self, name: &str) -> String {
        let (mut is, mut data) = (String::new(), Vec::new());
        let mut line = String::new();
        loop {
            line.clear();
            assert!(self.0.read_line(&mut line).expect("an event in time") > 0, "the view was closed");
            let text = line.trim_end_matches(['\r', '\n']);
            if let Some(name) = text.strip_prefix("event: ") {
                name.clone_into(&mut is);
            } else if let Some(d) = text.strip_prefix("data: ") {
                data.push(d.to_owned());
            } else if text.is_empty() {
                if is == name {
                    return data.join("\n");
                }
                data.clear();
            }
        }
    }
}

#[test]
fn a_view_shows_each_change_at_once_and_the_time_in_between() {
    let site = Site::open(sample("ip-alone"));
    let mut home = Events::open(&site, "home");
    let mut technician = Events::open(&site, "technician");
    let tick: serde_json::Value = serde_json::from_str(&home.next("tick")).expect("JSON");
    assert!(tick["now_s"].is_f64() && tick["looked_s"].is_f64() && tick["looked"] == "2026-01-01T00:00:00.000000Z");
    assert!(tick["wall"].as_str().is_some_and(|w| w.contains("2026")), "{tick}");
    let first = home.next("look");
    assert!(site.get("/").body.contains(first.trim()) || !first.is_empty());
    technician.next("tick");
    assert_eq!(site.served.views(), 2);
    let stretch = Stretch::begin(&[]);
    site.tell(sample("add-cellular"));
    // What was drawn for a view that opened may come once more with the next tick.
    while home.next("look") == first {}
    technician.next("changed");
    stretch.within("a change is shown", Duration::from_secs(1));
    // Nothing new is no look; the time is told all the same.
    site.tell(sample("add-cellular"));
    let stretch = Stretch::begin(&[]);
    home.next("tick");
    stretch.within("the time is told", Duration::from_secs(5));
    drop(home);
    let gone = || "who has gone is forgotten".to_owned();
    Stretch::begin(&[]).until(Duration::from_secs(12), gone, || site.served.views() <= 1);
    assert_eq!(site.get("/live").code, 400);
    assert_eq!(site.ask(&request("HEAD", "/live?view=home", "")).code, 405);
}

/// html5lib (the WHATWG algorithm): no element that runs, no attribute that does, nothing from elsewhere.
const HARMLESS: &str = r"
import sys, html5lib
doc = html5lib.parse(sys.stdin.read())
for e in doc.iter():
    if not isinstance(e.tag, str):
        continue
    tag = e.tag.split('}')[-1]
    assert tag not in ('iframe', 'object', 'embed', 'base', 'img', 'foreignObject'), tag
    if tag == 'script':
        assert (e.get('src') or '').startswith('/') and not (e.text or '').strip(), 'script inline'
    for name, value in e.attrib.items():
        local = name.split('}')[-1].lower()
        assert not local.startswith('on') and local != 'style', name
        if local in ('href', 'src', 'action'):
            assert value.startswith(('/', '#')) and not value.startswith('//'), value
print('harmless')
";

#[test]
fn hostile_text_is_text_in_every_view() {
    let mut s = snapshots::attacked();
    s.ruling.as_mut().expect("one").verdict.sentence = snapshots::HOSTILE.into();
    let site = Site::open(s);
    let mut live = Events::open(&site, "home");
    let mut pages = vec![("live".to_owned(), live.next("look"))];
    for target in
        ["/", "/technician", "/technician?from=0&to=1e9", "/technician?from=%3Cscript%3E&to=x", "/api/v1/report"]
    {
        let got = site.get(target);
        assert_eq!(got.code, 200, "{target}");
        pages.push((target.to_owned(), got.body));
    }
    let problem = site.get("/api/v1/observations?lane=%3Cscript%3E%0d%0aX:y");
    assert!(problem.code == 400 && !problem.body.contains("<script>") && !problem.head.contains("X:y"), "{problem:?}");
    for (name, html) in pages {
        // The report's style sheet stands in it and is held by its own policy: see the report's own test.
        if name != "/api/v1/report" {
            assert!(!html.contains("<style"), "{name}");
        }
        let steering = |c: char| c != '\n' && pathproof::show::escape::is_steering(c);
        assert_eq!(html.chars().find(|c| steering(*c)), None, "{name}");
        let mut child = Command::new("/usr/bin/python3")
            .args(["-c", HARMLESS])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("python3 runs");
        child.stdin.take().expect("piped").write_all(html.as_bytes()).expect("takes it");
        let out = child.wait_with_output().expect("ends");
        assert!(out.status.success(), "{name}: {}", String::from_utf8_lossy(&out.stderr));
    }
    for target in ["/api/v1/snapshot", "/api/v1/verdict", "/api/v1/troubles"] {
        let got = site.get(target);
        assert_eq!(got.field("content-type"), Some("application/json"), "{target}");
        let steering = |c: char| c != '\n' && pathproof::show::escape::is_steering(c);
        assert_eq!(got.body.chars().find(|c| steering(*c)), None, "{target}");
        got.json();
    }
}
