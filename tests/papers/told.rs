//! Reading counts, lengths and rows out of what was rendered: plain text and HTML. Knows nothing of how it was made.

/// White space made single, so that broken lines do not matter.
pub(crate) fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text of a page: each tag is a space; drawings and style are left out.
pub(crate) fn page_text(html: &str) -> String {
    let mut html = html.split_once("<body").map_or(html, |h| h.1).to_owned();
    while let Some(from) = html.find("<svg") {
        let to = html[from..].find("</svg>").map_or(html.len(), |i| from + i + 6);
        html.replace_range(from..to, " ");
    }
    let mut out = String::new();
    for part in html.split('<').skip(1) {
        out.push(' ');
        out.push_str(part.split_once('>').map_or("", |p| p.1));
    }
    let out = out.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
    flat(&out).replace(" .", ".").replace(" ,", ",").replace(" :", ":")
}

/// The markup of a page's section.
pub(crate) fn section<'a>(html: &'a str, id: &str) -> &'a str {
    let from = html.split_once(&format!("<section id=\"{id}\"")).map_or("", |s| s.1);
    from.split_once("</section>").map_or(from, |s| s.0)
}

/// The rows of the first table in some markup, as the text of their cells.
pub(crate) fn rows(markup: &str) -> Vec<Vec<String>> {
    let body = markup.split_once("<tbody>").map_or("", |t| t.1);
    let body = body.split_once("</tbody>").map_or(body, |t| t.0);
    let cells = |row: &str| -> Vec<String> {
        let of = row.split("<t").skip(1).filter(|c| c.starts_with("h ") || c.starts_with("d "));
        of.map(|c| page_text(&format!("<body><t{c}"))).collect()
    };
    body.split("<tr>").skip(1).map(cells).collect()
}

/// A table told in lines: its rows as cells, found by the names of its columns.
pub(crate) fn listed(text: &str, head: &[&str]) -> Vec<Vec<String>> {
    let mut out = Vec::new();
    for row in text.split(&format!("- {}: ", head[0])).skip(1) {
        let mut cells = Vec::new();
        let mut rest = row;
        for next in &head[1..] {
            let Some((cell, more)) = rest.split_once(&format!(" {next}: ")) else { break };
            cells.push(cell.trim().to_owned());
            rest = more;
        }
        // The last cell ends where the next heading, in capitals, begins.
        let ends = |w: &[&str]| {
            w.iter().all(|w| w.len() > 1 && w.chars().all(|c| !c.is_lowercase()) && w.contains(char::is_alphabetic))
        };
        let words: Vec<&str> = rest.split(' ').collect();
        let end = words.windows(2).position(ends).unwrap_or(words.len());
        cells.push(words[..end].join(" ").trim_end_matches([' ', '-']).to_owned());
        out.push(cells);
    }
    out
}

/// What stands between two phrases, the first time.
pub(crate) fn between<'a>(text: &'a str, before: &str, after: &str) -> Option<&'a str> {
    Some(text.split_once(before)?.1.split_once(after)?.0)
}

/// The count before a phrase, the first time.
pub(crate) fn count_before(text: &str, phrase: &str) -> Option<usize> {
    text.split_once(phrase)?.0.rsplit([' ', '(']).next()?.parse().ok()
}

/// A length of time as told, and half of what it was rounded to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Length {
    pub(crate) seconds: f64,
    pub(crate) off: f64,
}

impl Length {
    /// The length that a text begins with.
    pub(crate) fn of(text: &str) -> Option<Self> {
        let (mut seconds, mut off) = (0.0, None);
        let mut words = text.split(' ').filter(|w| !w.is_empty());
        while let Some(number) = words.next() {
            let Ok(n) = number.parse::<f64>() else { break };
            let Some(raw) = words.next() else { break };
            let unit = raw.trim_end_matches([',', '.', ';', ':', ')']);
            let one = match unit.trim_end_matches('s') {
                "d" | "day" => 86_400.0,
                "h" | "hour" => 3_600.0,
                "min" | "minute" => 60.0,
                "" | "second" => 1.0,
                _ => break,
            };
            seconds += n * one;
            off = Some(if number.contains('.') { one * 0.051 } else { one * 0.501 });
            if unit.len() < raw.len() {
                break;
            }
        }
        Some(Self { seconds, off: Self::told_off(seconds, off?) })
    }

    /// Whole days and hours are told where minutes are nothing: a length in one unit may have been rounded by the next.
    fn told_off(seconds: f64, off: f64) -> f64 {
        let by = match seconds {
            s if s < 10.0 => off,
            s if s < 3_600.0 => 0.501,
            s if s < 86_400.0 => 30.1,
            _ => 1_800.1,
        };
        by.min(off)
    }

    /// Whether it tells so many seconds.
    pub(crate) fn tells(self, seconds: f64) -> bool {
        (self.seconds - seconds).abs() <= self.off
    }
}

/// Odds as told, `about 19 in 20`, as a share.
pub(crate) fn share(text: &str) -> Option<f64> {
    let words: Vec<&str> = text.split(' ').collect();
    let at = words.iter().position(|w| *w == "in")?;
    let of = |w: Option<&&str>| w?.trim_end_matches(['.', ',', ';']).parse::<f64>().ok();
    Some(of(words.get(at.checked_sub(1)?))? / of(words.get(at + 1))?)
}

#[test]
fn lengths_and_rows_are_read_as_they_are_told() {
    for (text, seconds) in [
        ("3 min 12 s in all", 192.0),
        ("10 hours 34 minutes in all", 38_040.0),
        ("0.4 s.", 0.4),
        ("7 d; the path", 604_800.0),
        ("1 minute, on Tuesday 10 March", 60.0),
    ] {
        let read = Length::of(text).expect("a length");
        assert!(read.tells(seconds) && !read.tells(seconds + 3_700.0), "{text}: {read:?}");
    }
    assert!(Length::of("none").is_none());
    let table = "<section id=\"x\"><tbody><tr><th scope=\"row\">a</th><td data-is=\"B\">b</td></tr></tbody></section>";
    assert_eq!(rows(section(table, "x")), [["a", "b"]]);
    let told =
        "- Asked: a Answers: All 3. How quickly: No time. - Asked: b Answers: 1 of 2. How quickly: Soon. FOUND ON it";
    assert_eq!(
        listed(told, &["Asked", "Answers", "How quickly"]),
        [["a", "All 3.", "No time."], ["b", "1 of 2.", "Soon."]]
    );
    assert_eq!(share("about 19 in 20 that"), Some(0.95));
}
