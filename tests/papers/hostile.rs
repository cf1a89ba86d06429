//! Hostile strings in the site's name, its hosts, leases, notes and what was entered are inert in every form.

use super::forms::{of_html, of_pdf};
use super::{origin, snapshots};
use pathproof::show::escape;
use pathproof::show::paper::survey_record::{Entered, survey_record};
use pathproof::show::paper::{Given, Paper, letter, ticket, to_html, to_json, to_pdf, to_text};
use pathproof::worksheet::given::{Gear, Power};

fn hostile() -> Vec<(&'static str, Paper)> {
    let text = snapshots::HOSTILE.to_owned();
    let s = snapshots::attacked();
    let zone = snapshots::zone();
    let origin = pathproof::show::paper::Origin { record: Some(text.clone()), boot: Some(text.clone()), ..origin() };
    let given = Given { snapshot: &s, zone: &zone, origin: &origin };
    let pair = || vec![(text.clone(), text.clone())];
    let entered = Entered { plain: pair(), personal: pair(), secret: pair() };
    let gear = Gear { name: text.clone(), ..Gear::default() };
    let power = Power { gear: vec![gear], ..Power::default() };
    vec![
        ("letter", letter::letter(&given)),
        ("ticket", ticket::ticket(&given)),
        ("survey-record", survey_record(&given, &entered, &power)),
    ]
}

#[test]
fn nothing_runs_loads_or_steers() {
    for (word, paper) in hostile() {
        let (html, json, text, pdf) = (to_html(&paper), to_json(&paper), to_text(&paper, 80), to_pdf(&paper));
        for (form, shown) in [("html", &html), ("json", &json), ("text", &text)] {
            let bad: Vec<char> = shown.chars().filter(|c| *c != '\n' && escape::is_steering(*c)).collect();
            assert!(bad.is_empty(), "{word}, {form}: {bad:?}");
        }
        for needle in ["<script", "<img", "NaN", "onerror=\"", "javascript:\""] {
            assert!(!html.contains(needle), "{word}: {needle}");
        }
        // A PDF acts only by these (ISO 32000-1, 12.6): none of them may stand in the file, whatever the strings say.
        for needle in ["/JavaScript", "/JS ", "/OpenAction", "/AA ", "/Launch", "/URI ", "/EmbeddedFile"] {
            let found = pdf.windows(needle.len()).any(|w| w == needle.as_bytes());
            assert!(!found, "{word}, pdf: {needle}");
        }
        let read = of_pdf(&pdf);
        // It did arrive where it should be shown, as text.
        for (form, shown) in [("html", &of_html(&html)), ("json", &json), ("text", &text), ("pdf", &read)] {
            assert!(shown.contains("alert(1)"), "{word}, {form}");
        }
    }
}
