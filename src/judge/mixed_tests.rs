//! What the lab showed to be called wrongly, as scripts: faults that overlap, answers that mean little, and signs from
//! before the fault.

use super::tests::{World, causes, judged, plain, play};
use super::*;
use crate::judge::kit::{MS, ip, outside};
use crate::judge::{Mac, NameAnswer, RouterLife};

/// Adds observations to a script, in the order of their being known.
fn with(mut entries: Vec<Entry>, more: impl IntoIterator<Item = Observation>) -> Vec<Entry> {
    entries.extend(more.into_iter().map(Entry::Seen));
    entries.sort_by_key(Entry::known);
    entries
}

fn cut(t: &str, at: i64, span: std::ops::Range<i64>) -> Option<Outcome> {
    (outside(t) && span.contains(&at)).then_some(Outcome::Timeout)
}

#[test]
fn a_connection_asked_for_in_an_outage_and_made_by_a_retry_after_it_is_no_answer_in_between() {
    let world: World = |t, at| cut(t, at, 20_000..45_000);
    // The SYN goes again after a second (RFC 6298 section 2): asked for at 44.2 s, answered at 45.3 s.
    let mut retried = plain(44_200, Question::Connect, Detail::None);
    (retried.target, retried.known) = ("receiver".into(), Moment(45_300 * MS));
    assert_eq!(causes(&with(play(90, world), [retried])), ["access-line"]);
}

#[test]
fn a_line_that_came_back_for_a_second_before_the_lead_was_pulled_is_called_by_its_own_part() {
    let world: World = |t, at| match at {
        16_000..30_500 => cut(t, at, 16_000..30_500),
        31_500..39_000 => Some(Outcome::Timeout),
        _ => None,
    };
    let said = causes(&play(90, world));
    assert!(said.contains(&"own-link") && said.contains(&"access-line"), "{said:?}");
    assert_eq!(said.len(), 2, "{said:?}");
}

#[test]
fn names_that_stay_away_when_the_line_is_back_are_the_resolvers() {
    let world: World = |t, at| {
        if t == "resolver" && at >= 20_000 { Some(Outcome::Timeout) } else { cut(t, at, 20_000..40_000) }
    };
    assert_eq!(causes(&play(90, world)), ["access-line", "name-service"]);
}

#[test]
fn a_resolver_that_only_answers_for_the_name_that_must_not_exist_is_no_half_resolver() {
    let world: World = |t, at| (t == "resolver" && (20_000..50_000).contains(&at)).then_some(Outcome::Timeout);
    let control = (0..90).step_by(4).map(|second| {
        let code = NameAnswer { code: 3, ..NameAnswer::default() };
        let mut o = plain(second * 1_000 + 300, Question::ControlName, Detail::Name(code));
        o.target = "resolver".into();
        o
    });
    assert_eq!(causes(&with(play(90, world), control)), ["name-service"]);
}

#[test]
fn losses_while_two_boxes_answer_for_the_gateway_are_their_doing() {
    let world: World =
        |t, at| (outside(t) && (30_000..60_000).contains(&at) && (at / 333) % 3 != 1).then_some(Outcome::Timeout);
    let mut entries = play(100, world);
    for e in &mut entries {
        if let Entry::Seen(o) = e
            && o.question == Question::GatewayArp
            && (30_000 * MS..60_000 * MS).contains(&o.asked.0)
        {
            o.detail = Detail::Claimants(vec![Mac([2, 0, 0, 0, 0, 1]), Mac([2, 0, 0, 0, 0, 9])]);
        }
    }
    assert_eq!(causes(&entries), ["gateway-twice"]);
}

#[test]
fn losses_on_the_lan_are_seen_though_one_way_of_asking_the_router_fails_in_runs() {
    // Every ten seconds four echoes in a row fail, as if that way were shut; the other losses are scattered.
    let mut entries = play(100, |t, at| {
        (outside(t) && (35_000..65_000).contains(&at) && (at / 333) % 2 == 0).then_some(Outcome::Timeout)
    });
    for e in &mut entries {
        if let Entry::Seen(o) = e
            && (35_000 * MS..65_000 * MS).contains(&o.asked.0)
        {
            let second = o.asked.0 / (1_000 * MS);
            let lost = match o.question {
                Question::GatewayEcho => [0, 1, 2, 3, 5, 7].contains(&(second % 10)),
                Question::GatewayArp => [5, 7, 9].contains(&(second % 10)),
                _ => false,
            };
            if lost {
                (o.outcome, o.known) = (Outcome::Timeout, o.asked + Micros::from_secs(2));
            }
        }
    }
    entries.sort_by_key(Entry::known);
    assert_eq!(causes(&entries), ["lan-loss"]);
}

#[test]
fn a_router_that_started_before_the_lead_was_pulled_did_not_restart_then() {
    let world: World = |_, at| (22_000..34_000).contains(&at).then_some(Outcome::Timeout);
    // It started two seconds before the survey, and counts on.
    let lives = [1, 11, 21, 41, 51, 61].map(|second| {
        let life = RouterLife { up_s: Some(second + 2), of_connection: false, connected: None, outer: Some(ip(1)) };
        plain(second as i64 * 1_000, Question::RouterLife, Detail::RouterLife(life))
    });
    let look = judged(&with(play(90, world), lives)).look();
    assert_eq!(look.troubles.iter().map(|t| t.cause.word()).collect::<Vec<_>>(), ["own-link"]);
}
