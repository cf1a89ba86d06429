//! Days of an ordinary site, made up: what a watch would have seen at its own rhythm (virtual time).

use pathproof::judge::{
    Carrier, Detail, Entry, HeldAddress, Lane, Lease, Mac, Micros, Moment, NameAnswer, Observation, Outcome, Question,
    Rtt,
};
use pathproof::site::cadence::WATCH;
use rand::RngExt as _;
use rand::rngs::Xoshiro256PlusPlus;
use std::net::IpAddr;
use std::sync::Arc;

pub(crate) const SECOND: i64 = 1_000_000;
pub(crate) const DAY: i64 = 86_400 * SECOND;

/// Question, target, how often, how far, by the kernel's stamp.
pub(crate) type Asked = (Question, Arc<str>, i64, i64, bool);

/// What a watch asks of an ordinary site: question, target, how often, how far, by the kernel's stamp.
pub(crate) fn asks() -> Vec<Asked> {
    let c = WATCH.cadence;
    let ask = |q, t: &str, every: Micros, far, kernel| (q, t.into(), every.0, far, kernel);
    vec![
        ask(Question::GatewayArp, "192.0.2.1", c.router, 400, false),
        ask(Question::GatewayEcho, "192.0.2.1", c.router, 350, true),
        ask(Question::Name, "192.0.2.1", c.names, 9_000, true),
        ask(Question::Name, "198.51.100.53", c.names, 14_000, true),
        ask(Question::Reference, "reference-a", c.outside, 15_000, true),
        ask(Question::Reference, "reference-b", c.outside, 22_000, true),
        ask(Question::Reference, "reference-c", c.outside, 31_000, true),
        ask(Question::Connect, "station", c.receiver, 27_000, false),
        ask(Question::Connect, "station-2", c.receiver, 35_000, false),
        ask(Question::Carrier, "eth0", c.local, 0, false),
        ask(Question::OwnAddress, "eth0", c.local.times(5), 0, false),
        ask(Question::Offers, "eth0", c.offers, 0, false),
        ask(Question::Conflict, "eth0", c.offers, 0, false),
        ask(Question::Neighbours, "eth0", WATCH.signs, 0, false),
    ]
}

/// Outages: one of some minutes each third day.
fn down(at: i64) -> bool {
    let day = at / DAY;
    day % 3 == 1 && (40_000 * SECOND..(40_000 + 60 + day % 7 * 90) * SECOND).contains(&(at % DAY))
}

fn detail(question: Question, at: i64) -> Detail {
    match question {
        Question::Name => Detail::Name(NameAnswer {
            answers: 2,
            // Addresses in turn, as servers hand them out.
            addresses: (0..2).map(|n| IpAddr::from([203, 0, 113, 1 + ((at / SECOND / 10 + n) % 4) as u8])).collect(),
            ..NameAnswer::default()
        }),
        Question::Reference => Detail::Name(NameAnswer { answers: 13, ..NameAnswer::default() }),
        Question::GatewayArp => Detail::Claimants(vec![Mac([2, 0, 0x5e, 0, 0x53, 1])]),
        Question::Carrier => Detail::Carrier(Carrier {
            index: 2,
            name: "eth0".into(),
            up: true,
            changes: Some(2),
            up_count: Some(1),
            down_count: Some(1),
            speed_mbps: Some(1_000),
            full_duplex: Some(true),
            announced: false,
        }),
        Question::OwnAddress => {
            let left = u32::try_from(86_400 - at / SECOND % 43_200).ok();
            let held = HeldAddress {
                address: IpAddr::from([192, 0, 2, 7]),
                prefix: 24,
                valid_s: left,
                preferred_s: left,
                permanent: false,
            };
            Detail::OwnAddress { held: vec![held], gateway: Some(IpAddr::from([192, 0, 2, 1])) }
        }
        Question::Offers => {
            Detail::Offers { offers: vec![Lease { lease_s: Some(86_400), ..Lease::default() }], discarded: 0 }
        }
        Question::Neighbours => Detail::Neighbours((0..6).map(|n| Mac([2, 0, 0, 0, 0, n])).collect()),
        _ => Detail::None,
    }
}

/// A day of entries in the order of knowing; one question in five hundred is lost.
pub(crate) fn day(n: i64, asks: &[Asked], draw: &mut Xoshiro256PlusPlus) -> Vec<Entry> {
    let mut out = Vec::new();
    for (i, (question, target, every, far, kernel)) in asks.iter().enumerate() {
        let mut at = n * DAY + i as i64 * 137_000;
        while at < (n + 1) * DAY {
            let beyond = matches!(question.lane(), Lane::Outside | Lane::Receiver | Lane::Names);
            let asked = at + draw.random_range(0..1_500);
            let lost = (beyond && down(asked)) || (*far > 0 && draw.random_range(0..500) == 0);
            let timed = *far > 0 && !lost;
            let took =
                if lost { 2 * SECOND } else { far + (far / 8 + 50) * i64::from(draw.random_range(0..100u8)) / 50 };
            let silent = lost || *question == Question::Conflict;
            out.push(Entry::Seen(Observation {
                asked: Moment(asked),
                known: Moment(asked + took + if timed { draw.random_range(60..160) } else { 0 }),
                question: *question,
                target: Arc::clone(target),
                outcome: if silent { Outcome::Timeout } else { Outcome::Answered },
                rtt: timed.then_some(Rtt { took: Micros(took), kernel: *kernel }),
                detail: if silent { Detail::None } else { detail(*question, asked) },
            }));
            // Closes in while something is bad.
            at += if beyond && down(at) { SECOND.max(*every / 10) } else { *every };
        }
    }
    out.sort_by_key(Entry::known);
    out
}
