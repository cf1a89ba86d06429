//! The report and the diagram, checked by independent parsers.
//!
//! HTML: html5lib's strict parser (the WHATWG parsing algorithm; any parse error fails). SVG: expat, through Python's
//! `xml.etree`. Needs `apt-get install python3 python3-html5lib`; without them the test fails and says so, it is never
//! skipped.

mod snapshots;

use pathproof::show::paper::survey_record::{Entered, survey_record};
use pathproof::show::paper::{Given, Origin, letter, ticket, to_html};
use pathproof::show::{picture, report};
use pathproof::worksheet::given::Power;
use snapshots::{all, zone};
use std::process::Command;

/// Strict parse, then what a reader, a printer and a screen reader need: one h1, headings that skip no level, table
/// headers with scope, unique ids, labels that exist, and nothing that runs or loads.
const HTML_CHECK: &str = r"
import sys, html5lib
X = '{http://www.w3.org/1999/xhtml}'
text = open(sys.argv[1], encoding='utf-8').read()
doc = html5lib.HTMLParser(strict=True).parse(text)
tag = lambda e: e.tag.split('}')[-1] if isinstance(e.tag, str) else ''
everything = [e for e in doc.iter() if isinstance(e.tag, str)]
assert doc.get('lang') == 'en', 'lang'
assert (doc.find(f'{X}head/{X}title').text or '').strip(), 'title'
levels = [int(tag(e)[1]) for e in everything if tag(e) in ('h1', 'h2', 'h3', 'h4', 'h5', 'h6')]
assert levels and levels[0] == 1 and levels.count(1) == 1, levels
assert all(b <= a + 1 for a, b in zip(levels, levels[1:])), levels
for landmark in ('header', 'main'):
    assert sum(tag(e) == landmark for e in everything) == 1, landmark
for e in everything:
    assert tag(e) not in ('script', 'img', 'iframe', 'object', 'embed', 'link', 'form', 'base', 'a', 'foreignObject'), tag(e)
    for name, value in e.attrib.items():
        local = name.split('}')[-1].lower()
        assert not local.startswith('on'), name
        assert local not in ('href', 'src', 'srcset', 'action', 'style'), name
        if 'url(' in value:
            assert value.startswith('url(#'), value
    if tag(e) == 'th':
        assert e.get('scope') in ('col', 'row'), 'th without scope'
    if tag(e) == 'table':
        assert e.find(f'{X}caption') is not None, 'table without caption'
    if tag(e) == 'style':
        assert 'url(' not in e.text and '@import' not in e.text, 'style loads something'
ids = [e.get('id') for e in everything if e.get('id')]
assert len(ids) == len(set(ids)), 'ids twice'
for e in everything:
    for ref in (e.get('aria-labelledby') or '').split():
        assert ref in ids, ref
    for name, value in e.attrib.items():
        if value.startswith('url(#'):
            assert value[5:-1] in ids, value
print('html', len(everything), 'elements')
";

const SVG_CHECK: &str = r"
import sys, xml.etree.ElementTree as ET
root = ET.parse(sys.argv[1]).getroot()
S = '{http://www.w3.org/2000/svg}'
assert root.tag == S + 'svg' and root.get('viewBox'), root.tag
everything = list(root.iter())
assert all(e.tag.startswith(S) for e in everything)
assert not any(e.tag[len(S):] in ('script', 'image', 'use', 'a', 'foreignObject') for e in everything)
assert not any(k.lower().startswith('on') or 'href' in k for e in everything for k in e.attrib)
assert root.get('role') == 'img' and root.get('aria-label').strip()
assert len(everything) < 2000, len(everything)
x0, y0, w, h = map(float, root.get('viewBox').split())
for t in root.iter(S + 'text'):
    assert x0 - 1 <= float(t.get('x')) <= x0 + w and y0 <= float(t.get('y')) <= y0 + h, (t.text, t.attrib)
print('svg', len(everything), 'elements')
";

fn check(script: &str, name: &str, text: &str) -> Result<String, String> {
    let dir = tempfile::tempdir().expect("temporary directory");
    let file = dir.path().join(name);
    std::fs::write(&file, text).expect("file written");
    // The distribution's own interpreter first: that is where its html5lib package lives.
    let python = ["/usr/bin/python3", "python3"]
        .into_iter()
        .find(|p| Command::new(p).args(["-c", "import html5lib"]).output().is_ok_and(|o| o.status.success()));
    let python = python.expect("this check needs: apt-get install python3 python3-html5lib");
    let out = Command::new(python).arg("-c").arg(script).arg(&file).output().expect("python runs");
    if out.status.success() {
        Ok(String::from_utf8_lossy(&out.stdout).into_owned())
    } else {
        Err(String::from_utf8_lossy(&out.stderr).into_owned())
    }
}

#[test]
fn reports_are_strict_html_that_neither_runs_nor_loads_anything() {
    for (name, s) in all() {
        if let Err(why) = check(HTML_CHECK, "report.html", &report::to_html(&s, &zone())) {
            panic!("{name}: {why}");
        }
    }
}

#[test]
fn papers_are_strict_html_that_neither_runs_nor_loads_anything() {
    for (name, s) in all() {
        let (zone, origin) = (zone(), Origin::default());
        let given = Given { snapshot: &s, zone: &zone, origin: &origin };
        let survey = survey_record(&given, &Entered::default(), &Power::default());
        for paper in [letter::letter(&given), ticket::ticket(&given), survey] {
            if let Err(why) = check(HTML_CHECK, "paper.html", &to_html(&paper)) {
                panic!("{name}, {:?}: {why}", paper.paper);
            }
        }
    }
}

#[test]
fn diagrams_are_well_formed_svg_that_keep_inside_their_frame() {
    for (name, s) in all() {
        for width in [240, 340, 960, 2_000] {
            let Some(drawn) = picture::lanes(&s, &zone(), width) else { continue };
            if let Err(why) = check(SVG_CHECK, "diagram.svg", &picture::to_svg(&drawn).into_string()) {
                panic!("{name} at {width}: {why}");
            }
        }
    }
}

#[test]
fn the_checks_do_refuse_what_is_wrong() {
    let good = report::to_html(&snapshots::of("ip-alone"), &zone());
    for (what, bad) in [
        ("a script", good.replacen("<main>", "<main><script>1</script>", 1)),
        ("an unclosed element", good.replacen("</section>", "", 1)),
        ("a handler", good.replacen("<main>", "<main onclick=\"x\">", 1)),
        ("a header without scope", good.replacen(" scope=\"col\"", "", 1)),
        ("an outside asset", good.replacen("<main>", "<main><img src=\"https://example.test/x.png\">", 1)),
    ] {
        assert_ne!(bad, good, "{what}");
        assert!(check(HTML_CHECK, "report.html", &bad).is_err(), "{what} was not noticed");
    }
}
