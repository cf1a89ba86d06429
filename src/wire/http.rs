//! HTTP/1.1 (RFC 9112): one plain request out, one answer read within bounds.
//!
//! Decides when an answer is whole and what its body is: by length, in chunks or until the end. It follows nothing, and
//! keeps of the head only the status, the host of a redirect and where the body ends. The `httparse` crate reads the head.

use crate::judge::Web;

/// Longest head, bytes.
const LONGEST_HEAD: usize = 16 * 1_024;
/// Most header fields.
const MOST_FIELDS: usize = 64;
/// Most of a control page's body that is read. What is expected must fit it.
pub const BODY: usize = 2 * 1_024;
/// Longest host of a redirect kept, octets (a domain name has at most 253 characters).
const HOST: usize = 255;

/// A GET request. `host` is as it stands in the Host field, with a port unless it is 80.
pub fn request(host: &str, path: &str) -> Vec<u8> {
    format!(
        "GET {path} HTTP/1.1\r\nHost: {host}\r\nUser-Agent: pathproof\r\nAccept: */*\r\nCache-Control: no-cache\r\n\
         Connection: close\r\n\r\n"
    )
    .into_bytes()
}

/// How much of an answer is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// Status and redirect.
    Head,
    /// The first `most` bytes of the body where the answer has this status, else as [`Wanted::Head`].
    Start {
        /// The status.
        status: u16,
        /// Bytes.
        most: usize,
    },
    /// All of the body; a longer one than this many bytes is wrong.
    Whole(usize),
}

/// An answer, as far as it was wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Status code, from 200 to 599.
    pub status: u16,
    /// Where a redirect (3xx) points to: the host alone, where it names a sound one.
    pub redirected_to: Option<String>,
    /// Body, chunks joined.
    pub body: Vec<u8>,
}

/// Why it will never be one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    /// Not HTTP, contradictory, or an interim answer (RFC 9110 section 15.2), which was not asked for.
    #[error("no HTTP answer")]
    Malformed,
    /// Longer than we take.
    #[error("longer than is read here")]
    TooLong,
}

/// What a control page should answer where nothing stands between.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expected {
    /// Status code.
    pub status: u16,
    /// Body, without white space at its ends; `None` where any will do.
    pub body: Option<String>,
}

impl Expected {
    /// As much of the answer as it takes to compare.
    pub fn wanted(&self) -> Wanted {
        if self.body.is_some() { Wanted::Start { status: self.status, most: BODY } } else { Wanted::Head }
    }

    /// What came, and whether it is what was expected.
    pub fn compare(&self, came: Answer) -> Web {
        let same = |wanted: &String| String::from_utf8_lossy(&came.body).trim() == wanted.trim();
        let as_expected = came.status == self.status && self.body.as_ref().is_none_or(same);
        Web { status: came.status, redirected_to: came.redirected_to, as_expected: Some(as_expected) }
    }
}

/// An answer on its way in.
#[derive(Clone, Debug)]
pub struct Incoming {
    wanted: Wanted,
    bytes: Vec<u8>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ends {
    After(usize),
    Chunked,
    AtEnd,
}

impl Incoming {
    /// Nothing read yet.
    pub fn new(wanted: Wanted) -> Self {
        Self { wanted, bytes: Vec::new() }
    }

    /// Bytes that came; `Some` once there is all that is wanted.
    pub fn take(&mut self, bytes: &[u8]) -> Result<Option<Answer>, Wrong> {
        let most = match self.wanted {
            Wanted::Head => 0,
            Wanted::Start { most, .. } | Wanted::Whole(most) => most,
        };
        // Chunk sizes and their line ends come on top of the body; twice the body is generous.
        let room = (LONGEST_HEAD + 2 * most).saturating_sub(self.bytes.len());
        self.bytes.extend_from_slice(&bytes[..bytes.len().min(room)]);
        match self.read(false)? {
            None if bytes.len() > room => Err(Wrong::TooLong),
            read => Ok(read),
        }
    }

    /// The other side closed: there is all that is wanted or never will be.
    pub fn end(&self) -> Result<Answer, Wrong> {
        self.read(true)?.ok_or(Wrong::Malformed)
    }

    fn read(&self, ended: bool) -> Result<Option<Answer>, Wrong> {
        let mut fields = [httparse::EMPTY_HEADER; MOST_FIELDS];
        let mut head = httparse::Response::new(&mut fields);
        let start = match head.parse(&self.bytes).map_err(|_| Wrong::Malformed)? {
            httparse::Status::Complete(start) if start <= LONGEST_HEAD => start,
            httparse::Status::Partial if self.bytes.len() < LONGEST_HEAD => return Ok(None),
            _ => return Err(Wrong::TooLong),
        };
        let status = head.code.filter(|c| (200..600).contains(c)).ok_or(Wrong::Malformed)?;
        let location = head.headers.iter().find(|h| h.name.eq_ignore_ascii_case("location"));
        let to = location.filter(|_| (300..400).contains(&status)).map(|h| String::from_utf8_lossy(h.value));
        let redirected_to = to.and_then(|l| host_of(l.trim()));
        let answer = |body: &[u8]| Ok(Some(Answer { status, redirected_to, body: body.to_vec() }));
        let (most, whole) = match self.wanted {
            Wanted::Start { status: wanted, most } if status == wanted => (most, false),
            Wanted::Head | Wanted::Start { .. } => return answer(&[]),
            Wanted::Whole(most) => (most, true),
        };
        // RFC 9110, sections 15.3.5 and 15.4.5: these have no body.
        if matches!(status, 204 | 304) {
            return answer(&[]);
        }
        let (body, complete) = body(&self.bytes[start..], ends(head.headers), most, ended);
        match complete {
            Ok(true) => answer(&body),
            Ok(false) if whole => Ok(None),
            Err(wrong) if whole => Err(wrong),
            // Of a start, as much as there is; what is wrong further on does not matter.
            _ if ended || body.len() >= most => answer(&body[..body.len().min(most)]),
            _ => Ok(None),
        }
    }
}

/// The body so far, and whether that is all of it.
fn body(rest: &[u8], ends: Result<Ends, Wrong>, most: usize, ended: bool) -> (Vec<u8>, Result<bool, Wrong>) {
    match ends {
        Ok(Ends::After(length)) => {
            let complete = if length > most { Err(Wrong::TooLong) } else { Ok(rest.len() >= length) };
            (rest[..rest.len().min(length)].to_vec(), complete)
        }
        Ok(Ends::Chunked) => {
            let mut body = Vec::new();
            let complete = chunks(rest, most, &mut body);
            (body, complete)
        }
        Ok(Ends::AtEnd) => (rest.to_vec(), if rest.len() > most { Err(Wrong::TooLong) } else { Ok(ended) }),
        Err(wrong) => (rest.to_vec(), Err(wrong)),
    }
}

/// RFC 9112 section 6.3, without what only a proxy meets.
fn ends(fields: &[httparse::Header<'_>]) -> Result<Ends, Wrong> {
    let mut ends = Ends::AtEnd;
    for field in fields {
        let value = field.value.trim_ascii();
        if field.name.eq_ignore_ascii_case("transfer-encoding") {
            return if value.eq_ignore_ascii_case(b"chunked") { Ok(Ends::Chunked) } else { Err(Wrong::Malformed) };
        }
        if field.name.eq_ignore_ascii_case("content-length") {
            let length = std::str::from_utf8(value).ok().filter(|v| v.bytes().all(|b| b.is_ascii_digit()));
            let length = length.and_then(|v| v.parse().ok()).ok_or(Wrong::Malformed)?;
            if ends != Ends::AtEnd && ends != Ends::After(length) {
                return Err(Wrong::Malformed);
            }
            ends = Ends::After(length);
        }
    }
    Ok(ends)
}

/// Joins the chunks in `body`; false while the last one is not there (RFC 9112 section 7.1). Trailers are not waited for.
fn chunks(mut rest: &[u8], most: usize, body: &mut Vec<u8>) -> Result<bool, Wrong> {
    loop {
        let (start, size) = match httparse::parse_chunk_size(rest).map_err(|_| Wrong::Malformed)? {
            httparse::Status::Complete(found) => found,
            httparse::Status::Partial => return Ok(false),
        };
        if size == 0 {
            return Ok(true);
        }
        let size = usize::try_from(size).unwrap_or(usize::MAX);
        let (room, chunk) = (most - body.len(), &rest[start..]);
        body.extend_from_slice(&chunk[..chunk.len().min(size).min(room)]);
        if size > room {
            return Err(Wrong::TooLong);
        }
        match chunk.get(size..size + 2) {
            Some(b"\r\n") => rest = &chunk[size + 2..],
            Some(_) => return Err(Wrong::Malformed),
            None => return Ok(false),
        }
    }
}

/// The host of an absolute URL (RFC 3986 section 3.2), without user and port; `None` for a relative one.
fn host_of(url: &str) -> Option<String> {
    let rest = url.split_once("://").map(|(_, r)| r).or_else(|| url.strip_prefix("//"))?;
    let authority = rest.split(['/', '?', '#']).next().unwrap_or_default();
    let host = authority.rsplit('@').next().unwrap_or_default();
    let host = match host.strip_prefix('[') {
        Some(six) => six.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    // A host of anything else than these is no host; it is not repeated to anyone.
    let sound = !host.is_empty() && host.len() <= HOST;
    (sound && host.bytes().all(|b| b.is_ascii_alphanumeric() || b"-._~%:".contains(&b))).then(|| host.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn expected(status: u16, body: Option<&str>) -> Expected {
        Expected { status, body: body.map(str::to_owned) }
    }

    fn compared(e: &Expected, text: &str) -> Web {
        let mut incoming = Incoming::new(e.wanted());
        let early = incoming.take(text.as_bytes()).expect("an answer");
        e.compare(early.unwrap_or_else(|| incoming.end().expect("an answer")))
    }

    fn web(status: u16, to: Option<&str>, as_expected: bool) -> Web {
        Web { status, redirected_to: to.map(str::to_owned), as_expected: Some(as_expected) }
    }

    fn whole(text: &str) -> Result<Answer, Wrong> {
        let mut incoming = Incoming::new(Wanted::Whole(64));
        match incoming.take(text.as_bytes())? {
            Some(answer) => Ok(answer),
            None => incoming.end(),
        }
    }

    fn body(text: &str) -> String {
        String::from_utf8(whole(text).expect("a whole answer").body).expect("text")
    }

    #[test]
    fn a_body_ends_by_length_by_chunk_or_with_the_connection() {
        // The shapes of RFC 9112 sections 6.2, 7.1 and 6.3 rule 8.
        let length = "HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nhello and more";
        let chunked = "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4;x=y\r\nhell\r\n1\r\no\r\n0\r\n\r\n";
        let until_end = "HTTP/1.0 200 OK\r\n\r\nhello";
        for text in [length, chunked, until_end] {
            assert_eq!(body(text), "hello");
            let mut slow = Incoming::new(Wanted::Whole(64));
            let early = text.bytes().find_map(|b| slow.take(&[b]).expect("never wrong"));
            assert_eq!(early.or_else(|| slow.end().ok()).expect("whole").body, b"hello", "byte by byte");
        }
        assert_eq!(whole("HTTP/1.1 404 No\r\nContent-Length: 0\r\n\r\n").map(|a| a.status), Ok(404));
    }

    #[test]
    fn what_is_too_long_or_no_answer_ends_early() {
        let long = "x".repeat(65);
        for (text, wrong) in [
            (format!("HTTP/1.1 200 OK\r\nContent-Length: 65\r\n\r\n{long}"), Wrong::TooLong),
            (format!("HTTP/1.1 200 OK\r\n\r\n{long}"), Wrong::TooLong),
            (format!("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n41\r\n{long}\r\n"), Wrong::TooLong),
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nffffffffffffffff\r\n".into(), Wrong::TooLong),
            ("HTTP/1.1 200 OK\r\nContent-Length: 99999999999999999999\r\n\r\n".into(), Wrong::Malformed),
            ("HTTP/1.1 200 OK\r\nContent-Length: 4\r\nContent-Length: 5\r\n\r\nhello".into(), Wrong::Malformed),
            ("HTTP/1.1 200 OK\r\nContent-Length: +5\r\n\r\nhello".into(), Wrong::Malformed),
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: gzip\r\n\r\n".into(), Wrong::Malformed),
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n1\r\nhello".into(), Wrong::Malformed),
            ("HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nhello".into(), Wrong::Malformed),
            ("HTTP/1.1 100 Continue\r\n\r\n".into(), Wrong::Malformed),
            ("SSH-2.0-x\r\n".into(), Wrong::Malformed),
            (String::new(), Wrong::Malformed),
        ] {
            assert_eq!(whole(&text), Err(wrong), "{text:?}");
        }
    }

    #[test]
    fn an_endless_head_is_given_up() {
        let mut incoming = Incoming::new(Wanted::Whole(64));
        let mut given = incoming.take(b"HTTP/1.1 200 OK\r\n");
        for _ in 0..2_000 {
            if given.is_err() {
                break;
            }
            given = incoming.take(b"X: yyyyyyyyyy\r\n");
        }
        assert!(given.is_err() && incoming.bytes.len() <= LONGEST_HEAD + 128, "{given:?} {}", incoming.bytes.len());
    }

    #[test]
    fn a_request_is_as_rfc_9112_draws_it() {
        let text = String::from_utf8(request("a.example:8080", "/x")).expect("ASCII");
        assert!(text.starts_with("GET /x HTTP/1.1\r\nHost: a.example:8080\r\n") && text.ends_with("\r\n\r\n"));
    }

    #[test]
    fn expected_answers_and_others() {
        let none = expected(204, None);
        assert_eq!(compared(&none, "HTTP/1.1 204 No Content\r\n\r\n"), web(204, None, true));
        assert_eq!(compared(&none, "HTTP/1.1 200 OK\r\n\r\n<html>log in"), web(200, None, false));
        let told = "HTTP/1.0 302 Found\r\nLocation: http://u@login.portal.example:8080/x?y\r\n\r\n";
        assert_eq!(compared(&none, told), web(302, Some("login.portal.example"), false));
        let six = "HTTP/1.1 511 X\r\n\r\n";
        assert_eq!(compared(&none, six), web(511, None, false), "RFC 6585 section 6");
        let text = expected(200, Some("all clear"));
        for (answer, good) in [
            ("HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\nall clear\n", true),
            ("HTTP/1.1 200 OK\r\n\r\nall clear\n", true),
            ("HTTP/1.1 200 OK\r\nContent-Length: 3\r\n\r\nall clear", false),
            // RFC 9112 section 7.1: chunks with an extension.
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4;x=y\r\nall \r\n5\r\nclear\r\n0\r\n\r\n", true),
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nall \r\nzz", false),
        ] {
            assert_eq!(compared(&text, answer), web(200, None, good), "{answer}");
        }
    }

    #[test]
    fn it_does_not_wait_for_more_than_it_needs() {
        let text = expected(200, Some("yes"));
        let mut a = Incoming::new(text.wanted());
        assert_eq!(a.take(b"HTTP/1.1 200 OK\r\nContent-"), Ok(None));
        assert_eq!(a.take(b"Length: 3\r\n\r\nye"), Ok(None));
        assert_eq!(a.take(b"s").map(|a| a.map(|a| text.compare(a))), Ok(Some(web(200, None, true))));
        let login = Incoming::new(text.wanted()).take(b"HTTP/1.1 302 Found\r\nContent-Length: 9\r\n\r\n");
        assert_eq!(login.map(|a| a.map(|a| a.status)), Ok(Some(302)), "another status is enough");
    }

    #[test]
    fn an_endless_body_ends() {
        let text = expected(200, Some("yes"));
        let mut a = Incoming::new(text.wanted());
        let _ = a.take(b"HTTP/1.1 200 OK\r\n\r\n");
        let ended = (0..10_000).position(|_| a.take(b"0123456789") != Ok(None));
        assert!(ended.is_some_and(|n| n < 300), "{ended:?}");
        // More than fits comes at once.
        let page = [&b"HTTP/1.1 200 OK\r\n\r\n"[..], &vec![b'x'; 60_000]].concat();
        let came = Incoming::new(text.wanted()).take(&page).expect("an answer").expect("enough of it");
        assert_eq!((came.body.len(), text.compare(came).as_expected), (BODY, Some(false)));
    }

    #[test]
    fn hosts_of_redirects() {
        for (url, host) in [
            ("/login", None),
            ("//portal.example/x", Some("portal.example")),
            ("http://[2001:db8::1]:80/", Some("2001:db8::1")),
            ("http://a b/", None),
            ("http://\u{1b}[2J/", None),
            ("http:///x", None),
        ] {
            assert_eq!(host_of(url).as_deref(), host, "{url}");
        }
    }
}
