//! One HTTP request judged: who asks, for what, in which form (RFC 9110, RFC 9112). Pure: bytes in, an answer out.
//!
//! Only `GET` and `HEAD` of `/metrics` and of `/`. `Host` must be an address, `localhost`, or a name the owner gave: a
//! web page that makes a browser ask under its own name (DNS rebinding) is turned away. Where a token is set, it must
//! be shown (RFC 6750, section 2.1).

use crate::wire::host_field;

/// Longest head of a request, bytes.
pub(super) const LONGEST_HEAD: usize = 8 << 10;
/// Most header fields.
const MOST_FIELDS: usize = 64;

/// The form of an exposition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// OpenMetrics 1.0.0.
    OpenMetrics,
    /// The text exposition format 0.0.4.
    Text,
}

impl Form {
    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::OpenMetrics => "application/openmetrics-text; version=1.0.0; charset=utf-8",
            Self::Text => "text/plain; version=0.0.4; charset=utf-8",
        }
    }
}

/// Who is let in.
#[derive(Clone, Debug, Default)]
pub struct Door {
    /// Names that `Host` may hold beside addresses and `localhost`.
    pub names: Vec<String>,
    /// What must be shown.
    pub token: Option<String>,
}

/// What to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Answer {
    /// The metrics.
    Metrics(Form),
    /// Where they are.
    Where,
    /// A status code and its words.
    No(u16, &'static str),
}

/// An answer, and whether its body is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Judged {
    pub(super) answer: Answer,
    pub(super) head_only: bool,
}

/// Judges what has come so far; `None` while the head is not whole.
pub(super) fn judge(bytes: &[u8], door: &Door) -> Option<Judged> {
    let no = |code, words| Some(Judged { answer: Answer::No(code, words), head_only: false });
    let mut fields = [httparse::EMPTY_HEADER; MOST_FIELDS];
    let mut request = httparse::Request::new(&mut fields);
    match request.parse(bytes) {
        Ok(httparse::Status::Complete(_)) => {}
        Ok(httparse::Status::Partial) if bytes.len() < LONGEST_HEAD => return None,
        Ok(httparse::Status::Partial) | Err(httparse::Error::TooManyHeaders) => {
            return no(431, "Request Header Fields Too Large");
        }
        Err(_) => return no(400, "Bad Request"),
    }
    let (Some(method), Some(target)) = (request.method, request.path) else { return no(400, "Bad Request") };
    let all = |name: &str| -> Vec<&[u8]> {
        request.headers.iter().filter(|f| f.name.eq_ignore_ascii_case(name)).map(|f| f.value).collect()
    };
    // RFC 9112, section 3.2: exactly one.
    let [host] = all("host")[..] else { return no(400, "Bad Request") };
    if !host_field::is_ours(host, &door.names) {
        return no(421, "Misdirected Request");
    }
    if let Some(token) = &door.token
        && !matches!(all("authorization")[..], [shown] if shows(shown, token))
    {
        return no(401, "Unauthorized");
    }
    let head_only = match method {
        "GET" => false,
        "HEAD" => true,
        _ => return no(405, "Method Not Allowed"),
    };
    let answer = match target.split('?').next() {
        Some("/metrics") => Answer::Metrics(form(&all("accept").join(&b","[..]))),
        Some("/") => Answer::Where,
        _ => Answer::No(404, "Not Found"),
    };
    Some(Judged { answer, head_only })
}

/// Whether the token is shown, in a time that does not tell how much of it is right.
fn shows(field: &[u8], token: &str) -> bool {
    let Some((scheme, shown)) = field.split_at_checked(7) else { return false };
    let differs = shown.iter().zip(token.bytes()).fold(shown.len() ^ token.len(), |d, (a, b)| d | usize::from(a ^ b));
    scheme.eq_ignore_ascii_case(b"bearer ") && differs == 0
}

/// The form that is liked best (RFC 9110, section 12.5.1); text where both are liked the same by a wildcard.
fn form(accept: &[u8]) -> Form {
    let accept = String::from_utf8_lossy(accept);
    let (mut open, mut text, mut any) = (None, None, None);
    for range in accept.split(',').take(MOST_FIELDS) {
        let mut parts = range.split(';').map(str::trim);
        let kind = parts.next().unwrap_or_default().to_ascii_lowercase();
        let (mut q, mut version) = (1.0, None);
        for (name, value) in parts.filter_map(|p| p.split_once('=')) {
            match name.trim().to_ascii_lowercase().as_str() {
                "q" => q = value.trim().parse().ok().filter(|q| (0.0..=1.0).contains(q)).unwrap_or(0.0),
                "version" => version = Some(value.trim().trim_matches('"').to_owned()),
                _ => {}
            }
        }
        let best = match kind.as_str() {
            // The version before the standard is another form.
            "application/openmetrics-text" if version.as_deref().is_none_or(|v| v == "1.0.0") => &mut open,
            "text/plain" if version.as_deref().is_none_or(|v| v == "0.0.4") => &mut text,
            "text/*" => &mut text,
            "*/*" => &mut any,
            _ => continue,
        };
        *best = Some(best.map_or(q, |old: f64| old.max(q)));
    }
    let text = text.or(any).unwrap_or(0.0);
    match open {
        Some(open) if open > 0.0 && open >= text => Form::OpenMetrics,
        _ => Form::Text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ask(head: &str, door: &Door) -> Answer {
        judge(head.as_bytes(), door).expect("whole").answer
    }

    fn get(target: &str, fields: &str) -> String {
        format!("GET {target} HTTP/1.1\r\nHost: 127.0.0.1:9750\r\n{fields}\r\n")
    }

    #[test]
    fn the_form_is_the_one_asked_for() {
        let open = Door::default();
        let of = |accept: &str| ask(&get("/metrics", &format!("Accept: {accept}\r\n")), &open);
        // What Prometheus 2.42 sends, as seen on the wire.
        let prometheus = "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,*/*;q=0.1";
        assert_eq!(of(prometheus), Answer::Metrics(Form::OpenMetrics));
        assert_eq!(of("application/openmetrics-text;version=0.0.1,text/plain;q=0.5"), Answer::Metrics(Form::Text));
        assert_eq!(of("application/openmetrics-text;q=0.2, text/plain;q=0.3"), Answer::Metrics(Form::Text));
        assert_eq!(of("application/openmetrics-text; q=0"), Answer::Metrics(Form::Text));
        assert_eq!(of("text/html,application/xhtml+xml,*/*;q=0.8"), Answer::Metrics(Form::Text));
        assert_eq!(ask(&get("/metrics?x=1", ""), &open), Answer::Metrics(Form::Text));
        assert_eq!(ask(&get("/", ""), &open), Answer::Where);
        assert_eq!(ask(&get("/metrics/", ""), &open), Answer::No(404, "Not Found"));
    }

    #[test]
    fn only_ours_are_let_in() {
        let door = Door { names: vec!["agent.home.arpa".into()], token: None };
        let host = |h: &str| ask(&format!("GET / HTTP/1.1\r\nHost: {h}\r\n\r\n"), &door);
        for ours in ["127.0.0.1", "127.0.0.1:9750", "[::1]:9750", "LOCALHOST:9750", "agent.home.arpa:80", "192.0.2.7"] {
            assert_eq!(host(ours), Answer::Where, "{ours}");
        }
        for other in ["rebind.example", "127.0.0.1.rebind.example:9750", "[::1", "[::1]x", "", "localhost:x", "a:b:c"] {
            assert_eq!(host(other), Answer::No(421, "Misdirected Request"), "{other}");
        }
        assert_eq!(ask("GET / HTTP/1.1\r\n\r\n", &door), Answer::No(400, "Bad Request"));
        assert_eq!(ask("GET / HTTP/1.1\r\nHost: ::1\r\nHost: b\r\n\r\n", &door), Answer::No(400, "Bad Request"));
        assert_eq!(ask("POST / HTTP/1.1\r\nHost: localhost\r\n\r\n", &door), Answer::No(405, "Method Not Allowed"));
        let locked = Door { token: Some("s3cret".into()), ..door };
        let shows = |field: &str| ask(&get("/", field), &locked);
        assert_eq!(shows("Authorization: Bearer s3cret\r\n"), Answer::Where);
        for wrong in
            ["", "Authorization: Bearer s3cre\r\n", "Authorization: Bearer s3cret1\r\n", "Authorization: x\r\n"]
        {
            assert_eq!(shows(wrong), Answer::No(401, "Unauthorized"), "{wrong}");
        }
    }

    #[test]
    fn a_head_without_end_is_refused_at_its_bound() {
        let mut head = get("/", "").trim_end().to_owned();
        assert!(judge(head.as_bytes(), &Door::default()).is_none());
        head.push_str("\r\nA: ");
        head.extend(std::iter::repeat_n('a', LONGEST_HEAD));
        assert_eq!(ask(&head, &Door::default()), Answer::No(431, "Request Header Fields Too Large"));
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_fall(bytes in prop::collection::vec(any::<u8>(), 0..2_000)) {
            let _ = judge(&bytes, &Door::default());
        }

        #[test]
        fn no_accept_makes_it_fall(accept in "[ -~]{0,200}") {
            let _ = form(accept.as_bytes());
        }
    }
}
