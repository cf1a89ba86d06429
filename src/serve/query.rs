//! What was asked, taken apart: the target's path and parameters, a form, cookies. Pure.
//!
//! Form encoding as browsers have it (URL standard, section 5). What is there twice, too much or no text is refused.

/// Most parameters.
const MOST: usize = 16;

/// Names and values, in order.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Pairs(Vec<(String, String)>);

impl Pairs {
    /// Takes a query or a form apart; `None` where it makes no sense or a name stands twice.
    pub(super) fn read(text: &str) -> Option<Self> {
        let mut pairs = Vec::new();
        for part in text.split('&').filter(|p| !p.is_empty()) {
            let (name, value) = part.split_once('=').unwrap_or((part, ""));
            let (name, value) = (decoded(name)?, decoded(value)?);
            if pairs.len() == MOST || pairs.iter().any(|(n, _)| *n == name) {
                return None;
            }
            pairs.push((name, value));
        }
        Some(Self(pairs))
    }

    /// The value of a name.
    pub(super) fn of(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    /// The first name that is not among these.
    pub(super) fn unknown(&self, known: &[&str]) -> Option<&str> {
        self.0.iter().map(|(n, _)| n.as_str()).find(|n| !known.contains(n))
    }
}

fn decoded(text: &str) -> Option<String> {
    let mut out = Vec::with_capacity(text.len());
    let mut bytes = text.bytes();
    while let Some(b) = bytes.next() {
        out.push(match b {
            b'+' => b' ',
            b'%' => {
                let mut digit = || char::from(bytes.next()?).to_digit(16);
                (digit()? << 4 | digit()?) as u8
            }
            b => b,
        });
    }
    String::from_utf8(out).ok()
}

/// The value of a cookie in a `Cookie` field (RFC 6265, section 4.2.1).
pub(super) fn cookie<'a>(field: &'a str, name: &str) -> Option<&'a str> {
    field.split(';').find_map(|c| c.trim().strip_prefix(name)?.strip_prefix('='))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn forms_are_read_as_browsers_write_them() {
        let p = Pairs::read("from=2026-11-01T00%3A00%3A00%2B01:00&a+b=c%26d&empty&lane=").expect("a query");
        assert_eq!(p.of("from"), Some("2026-11-01T00:00:00+01:00"));
        assert_eq!((p.of("a b"), p.of("empty"), p.of("lane"), p.of("x")), (Some("c&d"), Some(""), Some(""), None));
        assert_eq!(p.unknown(&["from", "a b", "empty"]), Some("lane"));
        for wrong in ["a=1&a=2", "a=%", "a=%4", "a=%zz", "a=%ff", "%00%ff=1"] {
            assert_eq!(Pairs::read(wrong), None, "{wrong}");
        }
        let many: Vec<String> = (0..20).map(|n| format!("a{n}=1")).collect();
        assert_eq!(Pairs::read(&many.join("&")), None);
    }

    #[test]
    fn a_cookie_is_found_by_its_whole_name() {
        assert_eq!(cookie("x=1; pathproof=abc; y=2", "pathproof"), Some("abc"));
        assert_eq!(cookie("xpathproof=abc; pathproofx=2", "pathproof"), None);
    }

    proptest! {
        #[test]
        fn nothing_makes_it_fall(text in "\\PC{0,200}") {
            let _ = Pairs::read(&text);
            let _ = cookie(&text, "pathproof");
        }
    }
}
