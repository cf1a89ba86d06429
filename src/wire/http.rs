//! HTTP/1.1 (RFC 9112): one plain request out, the head and a little of the body of what comes back.
//!
//! Decides what the answer said: status, host of a redirect, whether it is what was expected. The head is read by the
//! `httparse` crate; heads and bodies have caps, and what lies beyond them is not waited for.

use crate::judge::Web;

/// Longest head accepted; longer ones are junk.
pub const HEAD: usize = 16 * 1_024;
/// Most of a body looked at. What is expected must fit it.
pub const BODY: usize = 2 * 1_024;
/// Longest host of a redirect kept, octets (a domain name has at most 253 characters).
const HOST: usize = 255;
const HEADERS: usize = 64;

/// What the answer should be where nothing stands between.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expected {
    /// Status code.
    pub status: u16,
    /// Body, without white space at its ends; `None` where any will do.
    pub body: Option<String>,
}

/// A GET request. `host` is as it stands in the Host field, with a port unless it is 80.
pub fn request(host: &str, path: &str) -> Vec<u8> {
    format!(
        "GET {path} HTTP/1.1\r\nHost: {host}\r\nUser-Agent: pathproof\r\nAccept: */*\r\nCache-Control: no-cache\r\n\
         Connection: close\r\n\r\n"
    )
    .into_bytes()
}

/// What to do after more bytes came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Read {
    /// Go on reading.
    More,
    /// Enough was read.
    Done(Web),
    /// No HTTP answer.
    Junk,
}

/// An answer as it comes in.
#[derive(Debug)]
pub struct Answer<'e> {
    expected: &'e Expected,
    bytes: Vec<u8>,
}

impl<'e> Answer<'e> {
    /// Nothing read yet.
    pub fn new(expected: &'e Expected) -> Self {
        Self { expected, bytes: Vec::new() }
    }

    /// More bytes came.
    pub fn feed(&mut self, bytes: &[u8]) -> Read {
        let room = (HEAD + BODY).saturating_sub(self.bytes.len());
        self.bytes.extend_from_slice(&bytes[..bytes.len().min(room)]);
        self.look(bytes.len() > room)
    }

    /// The other side closed.
    pub fn end(&self) -> Read {
        match self.look(true) {
            Read::More => Read::Junk,
            other => other,
        }
    }

    fn look(&self, last: bool) -> Read {
        let mut headers = [httparse::EMPTY_HEADER; HEADERS];
        let mut head = httparse::Response::new(&mut headers);
        let length = match head.parse(&self.bytes) {
            Ok(httparse::Status::Complete(n)) if n <= HEAD => n,
            Ok(httparse::Status::Partial) if self.bytes.len() < HEAD && !last => return Read::More,
            _ => return Read::Junk,
        };
        let Some(status) = head.code.filter(|c| (100..600).contains(c)) else { return Read::Junk };
        if status < 200 {
            // Interim answers (RFC 9110 section 15.2) were not asked for; one that never ends is not waited for.
            return Read::Junk;
        }
        let field = |name: &str| {
            let found = head.headers.iter().find(|h| h.name.eq_ignore_ascii_case(name));
            found.map(|h| String::from_utf8_lossy(h.value).trim().to_owned())
        };
        let mut web = Web { status, redirected_to: None, as_expected: Some(false) };
        if (300..400).contains(&status) {
            web.redirected_to = field("location").and_then(|l| host_of(&l));
        }
        if status != self.expected.status {
            return Read::Done(web);
        }
        if let Some(wanted) = &self.expected.body {
            let (body, whole) = body(&self.bytes[length..], &field, status);
            if !whole && body.len() < BODY && !last {
                return Read::More;
            }
            web.as_expected = Some(String::from_utf8_lossy(&body).trim() == wanted.trim());
        } else {
            web.as_expected = Some(true);
        }
        Read::Done(web)
    }
}

/// The body so far, at most [`BODY`] octets, and whether that is all of it (RFC 9112 section 6.3).
fn body(bytes: &[u8], field: &dyn Fn(&str) -> Option<String>, status: u16) -> (Vec<u8>, bool) {
    if matches!(status, 204 | 304) {
        return (Vec::new(), true);
    }
    if field("transfer-encoding").is_some_and(|t| t.eq_ignore_ascii_case("chunked")) {
        return chunks(bytes);
    }
    let length = field("content-length").and_then(|l| l.parse::<usize>().ok());
    let end = bytes.len().min(length.unwrap_or(usize::MAX)).min(BODY);
    (bytes[..end].to_vec(), length.is_some_and(|l| bytes.len() >= l))
}

fn chunks(mut bytes: &[u8]) -> (Vec<u8>, bool) {
    let mut body = Vec::new();
    while body.len() < BODY {
        let Ok(httparse::Status::Complete((at, size))) = httparse::parse_chunk_size(bytes) else {
            return (body, false);
        };
        if size == 0 {
            return (body, true);
        }
        let size = usize::try_from(size).unwrap_or(usize::MAX);
        let chunk = &bytes[at..];
        body.extend_from_slice(&chunk[..size.min(chunk.len()).min(BODY)]);
        let Some(rest) = size.checked_add(2).and_then(|n| chunk.get(n..)) else { return (body, false) };
        bytes = rest;
    }
    body.truncate(BODY);
    (body, false)
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

    fn whole(e: &Expected, text: &str) -> Read {
        let mut a = Answer::new(e);
        match a.feed(text.as_bytes()) {
            Read::More => a.end(),
            other => other,
        }
    }

    fn web(status: u16, to: Option<&str>, as_expected: bool) -> Read {
        Read::Done(Web { status, redirected_to: to.map(str::to_owned), as_expected: Some(as_expected) })
    }

    #[test]
    fn a_request_is_as_rfc_9112_draws_it() {
        let text = String::from_utf8(request("a.example:8080", "/x")).expect("ASCII");
        assert!(text.starts_with("GET /x HTTP/1.1\r\nHost: a.example:8080\r\n") && text.ends_with("\r\n\r\n"));
    }

    #[test]
    fn expected_answers_and_others() {
        let none = expected(204, None);
        assert_eq!(whole(&none, "HTTP/1.1 204 No Content\r\n\r\n"), web(204, None, true));
        assert_eq!(whole(&none, "HTTP/1.1 200 OK\r\n\r\n<html>log in"), web(200, None, false));
        let told = "HTTP/1.0 302 Found\r\nLocation: http://u@login.portal.example:8080/x?y\r\n\r\n";
        assert_eq!(whole(&none, told), web(302, Some("login.portal.example"), false));
        let six = "HTTP/1.1 511 X\r\n\r\n";
        assert_eq!(whole(&none, six), web(511, None, false), "RFC 6585 section 6");
        let text = expected(200, Some("all clear"));
        for (answer, good) in [
            ("HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\nall clear\n", true),
            ("HTTP/1.1 200 OK\r\n\r\nall clear\n", true),
            ("HTTP/1.1 200 OK\r\nContent-Length: 3\r\n\r\nall clear", false),
            // RFC 9112 section 7.1: chunks with an extension.
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4;x=y\r\nall \r\n5\r\nclear\r\n0\r\n\r\n", true),
            ("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nall \r\nzz", false),
        ] {
            assert_eq!(whole(&text, answer), web(200, None, good), "{answer}");
        }
    }

    #[test]
    fn it_does_not_wait_for_more_than_it_needs() {
        let text = expected(200, Some("yes"));
        let mut a = Answer::new(&text);
        assert_eq!(a.feed(b"HTTP/1.1 200 OK\r\nContent-"), Read::More);
        assert_eq!(a.feed(b"Length: 3\r\n\r\nye"), Read::More);
        assert_eq!(a.feed(b"s"), web(200, None, true));
    }

    #[test]
    fn junk_and_endless_answers_end() {
        let none = expected(204, None);
        assert_eq!(whole(&none, "SSH-2.0-x\r\n"), Read::Junk);
        assert_eq!(whole(&none, ""), Read::Junk);
        assert_eq!(whole(&none, "HTTP/1.1 100 Continue\r\n\r\n"), Read::Junk);
        let mut a = Answer::new(&none);
        let _ = a.feed(b"HTTP/1.1 200 OK\r\n");
        let ended =
            (0..10_000).position(|_| a.feed(b"X-Filler: 0123456789012345678901234567890123456789\r\n") != Read::More);
        assert!(ended.is_some_and(|n| n < 400), "{ended:?}");
        assert!(a.bytes.len() <= HEAD + BODY);
        let text = expected(200, Some("yes"));
        let mut a = Answer::new(&text);
        let _ = a.feed(b"HTTP/1.1 200 OK\r\n\r\n");
        let ended = (0..10_000).position(|_| a.feed(b"0123456789") != Read::More);
        assert!(ended.is_some_and(|n| n < 300), "{ended:?}");
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
