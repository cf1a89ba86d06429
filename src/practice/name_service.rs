//! The practice site's name services: an authority outside and a forwarder on the router, both over UDP (RFC 1035).
//!
//! Decides what they answer and how they fail. The forwarder keeps nothing: every question goes over the access line, so
//! that a dead line shows. When nothing comes back it says server failure, as a resolver does.

use super::line::{Fate, Line};
use super::script::NameFailure;
use crate::sys::clock;
use hickory_proto::op::{Message, MessageType, OpCode, ResponseCode};
use hickory_proto::rr::rdata::{A, NS};
use hickory_proto::rr::{Name, RData, Record, RecordType};
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::UdpSocket;
use tokio::sync::Semaphore;

/// A name the authority knows.
pub(super) const EXISTING_NAME: &str = "known.practice.test.";
/// The address it has.
const EXISTING_ADDRESS: Ipv4Addr = Ipv4Addr::new(198, 51, 100, 80);
/// The one made up for those it does not know.
const MADE_UP_ADDRESS: Ipv4Addr = Ipv4Addr::new(203, 0, 113, 99);
/// The root's name servers as the practice site has them.
const ROOT_SERVERS: [&str; 3] = ["a.root.practice.test.", "b.root.practice.test.", "c.root.practice.test."];
/// How long the forwarder waits for the authority before it answers with a server failure.
pub(super) const FORWARD_PATIENCE: Duration = Duration::from_millis(500);
/// Most questions at once; more are left unanswered.
const AT_ONCE: usize = 64;
/// Largest question taken (RFC 6891 sizes come nowhere near).
const LARGEST: usize = 4_096;

/// How the forwarder behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Manner {
    /// As it should.
    Answer,
    /// It fails.
    Fail(NameFailure),
    /// It makes up an address where there is none.
    MakeUp,
}

/// The forwarder's manner, shared with those who disturb it.
#[derive(Debug)]
pub(super) struct Conduct(Mutex<Manner>);

impl Conduct {
    pub(super) fn good() -> Arc<Self> {
        Arc::new(Self(Mutex::new(Manner::Answer)))
    }

    pub(super) fn set(&self, manner: Manner) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = manner;
    }

    fn now(&self) -> Manner {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What the authority says to a question; `None` to what is no question.
fn authority(question: &[u8]) -> Option<Vec<u8>> {
    let asked = Message::from_vec(question).ok()?;
    let mut said = reply_to(&asked)?;
    said.metadata.authoritative = true;
    let query = asked.queries.first()?;
    let name = query.name().to_lowercase();
    let record = |data| Record::from_rdata(name.clone(), 60, data);
    let known = |n: &str| Name::from_ascii(n).is_ok_and(|n| n == name);
    if name.is_root() {
        if query.query_type() == RecordType::NS {
            said.add_answers(
                ROOT_SERVERS.iter().filter_map(|n| Name::from_ascii(n).ok()).map(|n| record(RData::NS(NS(n)))),
            );
        }
    } else if known(EXISTING_NAME) {
        if query.query_type() == RecordType::A {
            said.add_answer(record(RData::A(A(EXISTING_ADDRESS))));
        }
    } else {
        said.metadata.response_code = ResponseCode::NXDomain;
    }
    said.to_vec().ok()
}

/// An answer with only a response code.
fn only_code(question: &[u8], code: ResponseCode) -> Option<Vec<u8>> {
    let mut said = reply_to(&Message::from_vec(question).ok()?)?;
    said.metadata.response_code = code;
    said.to_vec().ok()
}

/// An answer that says a name does not exist, turned into one that has an address.
fn made_up(answer: Vec<u8>) -> Option<Vec<u8>> {
    let mut said = Message::from_vec(&answer).ok()?;
    if said.metadata.response_code != ResponseCode::NXDomain {
        return Some(answer);
    }
    let name = said.queries.first()?.name().clone();
    said.metadata.response_code = ResponseCode::NoError;
    said.add_answer(Record::from_rdata(name, 60, RData::A(A(MADE_UP_ADDRESS))));
    said.to_vec().ok()
}

fn reply_to(asked: &Message) -> Option<Message> {
    if asked.metadata.message_type != MessageType::Query || asked.metadata.op_code != OpCode::Query {
        return None;
    }
    let mut said = Message::response(asked.metadata.id, OpCode::Query);
    said.metadata.recursion_desired = asked.metadata.recursion_desired;
    said.add_queries(asked.queries.iter().cloned());
    Some(said)
}

/// Answers as the authority until the task is dropped. On loopback there is no cable, so both ways of the line are taken
/// here.
pub(super) async fn serve_authority(socket: UdpSocket, line: Option<Arc<Line>>) {
    let socket = Arc::new(socket);
    each_question(&Arc::clone(&socket), |question, from| {
        let (socket, line) = (Arc::clone(&socket), line.clone());
        async move {
            if let Some(line) = &line
                && !both_ways(line).await
            {
                return;
            }
            if let Some(answer) = authority(&question) {
                // A lost answer is the asker's to notice.
                drop(socket.send_to(&answer, from).await);
            }
        }
    })
    .await;
}

/// Takes a question and its answer over the line in user space; false when one was lost.
pub(super) async fn both_ways(line: &Line) -> bool {
    for way in [0, 1] {
        let now = clock::boot_time();
        match line.fate(way, true, now) {
            Fate::Lost => return false,
            Fate::Arrives(at) => tokio::time::sleep((at - now).to_std()).await,
        }
    }
    !line.is_cut()
}

/// Forwards to the authority until the task is dropped.
pub(super) async fn serve_forwarder(socket: UdpSocket, authority: SocketAddr, conduct: Arc<Conduct>) {
    let socket = Arc::new(socket);
    each_question(&Arc::clone(&socket), |question, from| {
        let (socket, manner) = (Arc::clone(&socket), conduct.now());
        async move {
            let answer = match manner {
                Manner::Fail(NameFailure::Silent) => None,
                Manner::Fail(NameFailure::Refuse) => only_code(&question, ResponseCode::Refused),
                Manner::Fail(NameFailure::Servfail) => only_code(&question, ResponseCode::ServFail),
                Manner::Answer | Manner::MakeUp => match forward(&question, authority).await {
                    Some(answer) if manner == Manner::MakeUp => made_up(answer),
                    Some(answer) => Some(answer),
                    None => only_code(&question, ResponseCode::ServFail),
                },
            };
            if let Some(answer) = answer {
                drop(socket.send_to(&answer, from).await);
            }
        }
    })
    .await;
}

async fn forward(question: &[u8], authority: SocketAddr) -> Option<Vec<u8>> {
    let any = if authority.ip().is_loopback() { Ipv4Addr::LOCALHOST } else { Ipv4Addr::UNSPECIFIED };
    let ask = async {
        let socket = UdpSocket::bind((any, 0)).await.ok()?;
        socket.connect(authority).await.ok()?;
        socket.send(question).await.ok()?;
        let mut buffer = vec![0; LARGEST];
        loop {
            let n = socket.recv(&mut buffer).await.ok()?;
            // Connected, so it is the authority's; the id makes it the answer to this question.
            if buffer[..n].get(..2) == question.get(..2) {
                let mut answer = Message::from_vec(&buffer[..n]).ok()?;
                answer.metadata.authoritative = false;
                answer.metadata.recursion_available = true;
                return answer.to_vec().ok();
            }
        }
    };
    tokio::time::timeout(FORWARD_PATIENCE, ask).await.ok().flatten()
}

async fn each_question<F>(socket: &UdpSocket, mut answer: impl FnMut(Vec<u8>, SocketAddr) -> F)
where
    F: Future<Output = ()> + Send + 'static,
{
    let room = Arc::new(Semaphore::new(AT_ONCE));
    let mut buffer = vec![0; LARGEST];
    loop {
        // An error is an ICMP message about an earlier answer; it says nothing of the next question.
        let Ok((n, from)) = socket.recv_from(&mut buffer).await else {
            tokio::time::sleep(Duration::from_millis(1)).await;
            continue;
        };
        if let Ok(place) = Arc::clone(&room).try_acquire_owned() {
            let work = answer(buffer[..n].to_vec(), from);
            tokio::spawn(async move {
                work.await;
                drop(place);
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hickory_proto::op::Query;

    fn ask(name: &str, kind: RecordType) -> Message {
        let mut m = Message::new(77, MessageType::Query, OpCode::Query);
        m.metadata.recursion_desired = true;
        m.add_query(Query::query(Name::from_ascii(name).expect("a name"), kind));
        let said = authority(&m.to_vec().expect("encodes")).expect("answers");
        Message::from_vec(&said).expect("a DNS message")
    }

    #[test]
    fn the_authority_knows_the_root_and_one_name() {
        let root = ask(".", RecordType::NS);
        assert_eq!((root.metadata.id, root.metadata.response_code, root.answers.len()), (77, ResponseCode::NoError, 3));
        let known = ask(EXISTING_NAME, RecordType::A);
        assert_eq!(known.answers[0].data, RData::A(A(EXISTING_ADDRESS)));
        let none = ask("x.invalid.", RecordType::A);
        assert_eq!((none.metadata.response_code, none.answers.len()), (ResponseCode::NXDomain, 0));
        assert_eq!(authority(b"no question"), None);
    }

    #[test]
    fn an_answer_is_no_question() {
        let said = ask(".", RecordType::NS).to_vec().expect("encodes");
        assert_eq!(authority(&said), None);
    }
}
