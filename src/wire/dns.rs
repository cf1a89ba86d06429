//! DNS (RFC 1035, RFC 6891): one query out, one reply checked.
//!
//! Decides whether bytes are the answer to our query: the response bit, the id, the question (RFC 5452 section 9.1).
//! Does not judge what the answer says, and follows no referral.

use crate::judge::NameAnswer;
use hickory_proto::op::{Edns, Header, Message, MessageType, OpCode, Query};
use hickory_proto::rr::{Name, RData, RecordType};
use hickory_proto::serialize::binary::{BinDecodable, BinDecoder};

/// UDP payload size we offer (RFC 6891; 1232 bytes fit every link with an IPv6 minimum MTU of 1280).
pub const PAYLOAD: u16 = 1232;
/// Addresses kept of one answer.
pub const ADDRESSES: usize = 8;

/// What is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    question: Query,
    recursive: bool,
}

impl Asked {
    /// The address records of a name, with recursion. `None` if it is no domain name.
    pub fn address(name: &str) -> Option<Self> {
        let mut name = Name::from_ascii(name).ok()?;
        name.set_fqdn(true);
        Some(Self { question: Query::query(name, RecordType::A), recursive: true })
    }

    /// The IPv6 address records of the name that every translator answers for (RFC 7050 section 3), with recursion.
    pub fn translated() -> Self {
        let name = Name::from_labels([&b"ipv4only"[..], b"arpa"]).unwrap_or_else(|_| Name::root());
        Self { question: Query::query(name, RecordType::AAAA), recursive: true }
    }

    /// The root's name servers, without recursion: what every root service address knows by heart.
    pub fn root_servers() -> Self {
        Self { question: Query::query(Name::root(), RecordType::NS), recursive: false }
    }

    /// The query as it goes over the wire. Empty only if the library refused to encode it, which a name already read
    /// can't cause.
    pub fn query(&self, id: u16) -> Vec<u8> {
        let mut m = Message::new(id, MessageType::Query, OpCode::Query);
        m.metadata.recursion_desired = self.recursive;
        m.add_query(self.question.clone());
        let mut edns = Edns::new();
        edns.set_max_payload(PAYLOAD).set_version(0);
        m.set_edns(edns);
        m.to_vec().unwrap_or_default()
    }

    /// Checks a reply.
    pub fn check(&self, id: u16, reply: &[u8]) -> Checked {
        if reply.first_chunk().is_none_or(|b| u16::from_be_bytes(*b) != id) {
            return Checked::NotOurs;
        }
        let mut decoder = BinDecoder::new(reply);
        let Ok(header) = Header::read(&mut decoder) else { return Checked::Malformed };
        let meta = header.metadata;
        if meta.message_type != MessageType::Response || meta.op_code != OpCode::Query {
            return Checked::Malformed;
        }
        let code = u16::from(meta.response_code);
        match header.counts.queries {
            // A server that could not or would not read the question may leave it out.
            0 if matches!(code, 1 | 2 | 4 | 5) => {}
            1 => match Query::read(&mut decoder) {
                Ok(q) if q == self.question => {}
                _ => return Checked::Malformed,
            },
            _ => return Checked::Malformed,
        }
        if meta.truncation {
            // What follows may be cut anywhere and is not read (RFC 2181 section 9).
            return Checked::Truncated(NameAnswer { code, truncated: true, ..NameAnswer::default() });
        }
        let Ok(m) = Message::from_vec(reply) else { return Checked::Malformed };
        let addresses = m.answers.iter().filter_map(|r| match &r.data {
            RData::A(a) => Some(std::net::IpAddr::V4(a.0)),
            RData::AAAA(a) => Some(std::net::IpAddr::V6(a.0)),
            _ => None,
        });
        Checked::Answer(NameAnswer {
            code: u16::from(m.metadata.response_code),
            answers: header.counts.answers,
            addresses: addresses.take(ADDRESSES).collect(),
            truncated: false,
            over_tcp: false,
        })
    }
}

/// What a reply turned out to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Checked {
    /// A valid answer.
    Answer(NameAnswer),
    /// A valid answer, cut short: to be asked again over TCP.
    Truncated(NameAnswer),
    /// Another id: late or forged. To be ignored.
    NotOurs,
    /// Our id, but no answer to our question. To be ignored, and remembered if nothing better comes.
    Malformed,
}

/// A query or reply with its length in front, as it goes over TCP (RFC 1035 section 4.2.2).
pub fn framed(message: &[u8]) -> Vec<u8> {
    let length = u16::try_from(message.len()).unwrap_or(u16::MAX);
    [&length.to_be_bytes()[..], message].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 1035 section 4.1.1 and 4.1.2, RFC 6891 section 6.1.2: the bytes drawn there, by hand.
    #[test]
    fn a_query_byte_by_byte() {
        let q = Asked::root_servers().query(0x1234);
        let header = [0x12, 0x34, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1];
        let question = [0, 0, 2, 0, 1];
        let opt = [0, 0, 41, 0x04, 0xd0, 0, 0, 0, 0, 0, 0];
        assert_eq!(q, [&header[..], &question, &opt].concat());
        let a = Asked::address("a.example").expect("a name");
        assert_eq!(a.query(1)[2..4], [1, 0], "recursion desired");
        // RFC 7050 section 3: AAAA (28) for ipv4only.arpa, class IN.
        let translated = Asked::translated().query(1);
        assert_eq!(translated[12..29], b"\x08ipv4only\x04arpa\x00\x00\x1c"[..]);
        assert_eq!(a, Asked::address("a.example.").expect("a name"));
        assert!(Asked::address(&"a".repeat(64)).is_none());
        assert_eq!(framed(&[1, 2, 3]), [0, 3, 1, 2, 3]);
    }

    #[test]
    fn a_reply_must_be_ours() {
        let asked = Asked::address("a.example").expect("a name");
        let q = asked.query(7);
        assert_eq!(asked.check(8, &q), Checked::NotOurs);
        assert_eq!(asked.check(7, &q), Checked::Malformed, "our own query mirrored");
        assert_eq!(asked.check(7, &[0]), Checked::NotOurs);
        assert_eq!(asked.check(7, &[0, 7, 0x80]), Checked::Malformed);
        let mut r = q.clone();
        r[2] |= 0x80;
        r[3] = 3;
        assert!(matches!(asked.check(7, &r), Checked::Answer(NameAnswer { code: 3, answers: 0, .. })));
        r[14] = b'A' ^ 0x20;
        assert!(matches!(asked.check(7, &r), Checked::Malformed), "another question");
    }
}
