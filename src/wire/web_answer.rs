//! One HTTP/1.1 answer, read within bounds (RFC 9112).
//!
//! Decides when an answer is whole and what its body is: by length, in chunks or until the end. Follows nothing and
//! keeps no header but those that say where the body ends. The head is parsed by `httparse`.

/// Longest head, bytes.
const LONGEST_HEAD: usize = 8 * 1024;
/// Most header fields.
const MOST_FIELDS: usize = 64;

/// A whole answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Status code.
    pub status: u16,
    /// Body, chunks joined.
    pub body: Vec<u8>,
}

/// Why it will never be one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    /// Not HTTP, or contradictory.
    #[error("no HTTP answer")]
    Malformed,
    /// Longer than we take.
    #[error("longer than is read here")]
    TooLong,
}

/// An answer on its way in.
#[derive(Clone, Debug)]
pub struct Incoming {
    most: usize,
    bytes: Vec<u8>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ends {
    After(usize),
    Chunked,
    AtEnd,
}

impl Incoming {
    /// An answer with a body of at most `most` bytes.
    pub fn new(most: usize) -> Self {
        Self { most, bytes: Vec::new() }
    }

    /// Bytes that came; `Some` once the answer is whole.
    pub fn take(&mut self, bytes: &[u8]) -> Result<Option<Answer>, Wrong> {
        // Chunk sizes and their line ends come on top of the body; twice the body is generous.
        if self.bytes.len() + bytes.len() > LONGEST_HEAD + 2 * self.most {
            return Err(Wrong::TooLong);
        }
        self.bytes.extend_from_slice(bytes);
        self.read(false)
    }

    /// The other side closed: the answer is whole or never will be.
    pub fn end(&self) -> Result<Answer, Wrong> {
        self.read(true)?.ok_or(Wrong::Malformed)
    }

    fn read(&self, ended: bool) -> Result<Option<Answer>, Wrong> {
        let mut fields = [httparse::EMPTY_HEADER; MOST_FIELDS];
        let mut head = httparse::Response::new(&mut fields);
        let start = match head.parse(&self.bytes).map_err(|_| Wrong::Malformed)? {
            httparse::Status::Complete(start) => start,
            httparse::Status::Partial if self.bytes.len() > LONGEST_HEAD => return Err(Wrong::TooLong),
            httparse::Status::Partial => return Ok(None),
        };
        let status = head.code.ok_or(Wrong::Malformed)?;
        let rest = &self.bytes[start..];
        let body = match ends(head.headers)? {
            Ends::After(length) if length > self.most => return Err(Wrong::TooLong),
            Ends::After(length) => rest.get(..length).map(<[u8]>::to_vec),
            Ends::Chunked => chunks(rest, self.most)?,
            Ends::AtEnd if rest.len() > self.most => return Err(Wrong::TooLong),
            Ends::AtEnd => ended.then(|| rest.to_vec()),
        };
        Ok(body.map(|body| Answer { status, body }))
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

/// The joined chunks; `None` while the last one is not there (RFC 9112 section 7.1). Trailers are not waited for.
fn chunks(mut rest: &[u8], most: usize) -> Result<Option<Vec<u8>>, Wrong> {
    let mut body = Vec::new();
    loop {
        let (start, size) = match httparse::parse_chunk_size(rest).map_err(|_| Wrong::Malformed)? {
            httparse::Status::Complete(found) => found,
            httparse::Status::Partial => return Ok(None),
        };
        if size == 0 {
            return Ok(Some(body));
        }
        let size = usize::try_from(size).ok().filter(|s| *s <= most - body.len()).ok_or(Wrong::TooLong)?;
        let Some(chunk) = rest.get(start..start + size) else { return Ok(None) };
        body.extend_from_slice(chunk);
        match rest.get(start + size..start + size + 2) {
            Some(b"\r\n") => rest = &rest[start + size + 2..],
            Some(_) => return Err(Wrong::Malformed),
            None => return Ok(None),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn whole(text: &str) -> Result<Answer, Wrong> {
        let mut incoming = Incoming::new(64);
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
            let mut slow = Incoming::new(64);
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
            ("SSH-2.0-x\r\n".into(), Wrong::Malformed),
            (String::new(), Wrong::Malformed),
        ] {
            assert_eq!(whole(&text), Err(wrong), "{text:?}");
        }
    }

    #[test]
    fn an_endless_head_is_given_up() {
        let mut incoming = Incoming::new(64);
        let mut given = incoming.take(b"HTTP/1.1 200 OK\r\n");
        for _ in 0..2_000 {
            if given.is_err() {
                break;
            }
            given = incoming.take(b"X: yyyyyyyyyy\r\n");
        }
        assert!(given.is_err() && incoming.bytes.len() <= LONGEST_HEAD + 128, "{given:?} {}", incoming.bytes.len());
    }
}
