//! A snapshot no judge makes: every text an attack on whoever shows it, every figure one that makes no sense.
//!
//! It is a judged snapshot with its leaves replaced, whatever fields it has, so a field added later is attacked too.

use super::of;
use ciborium::Value;
use pathproof::snapshot::Snapshot;
use std::sync::OnceLock;

/// What a hostile network could put into every string.
pub(crate) const HOSTILE: &str = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>&amp;\x1b[2J\x1b]0;title\x07\u{9b}31m\u{202e}drow\u{2066}\r\nnext\0\u{1d}]]>-->{{7*7}}\u{fffe}";

const NONSENSE: [f64; 7] = [f64::NAN, -1.0, f64::INFINITY, 1e300, f64::NEG_INFINITY, 0.0, 9e18];

/// [`HOSTILE`] in every string that may hold any text, with lengths and numbers that make no sense.
pub(crate) fn attacked() -> Snapshot {
    static ATTACKED: OnceLock<Snapshot> = OnceLock::new();
    ATTACKED.get_or_init(attack).clone()
}

fn attack() -> Snapshot {
    // Every field is filled in one of these.
    let mut s = of("keep-watching");
    let ruled = |name| of(name).ruling.expect("one");
    let r = s.ruling.as_mut().expect("one");
    (r.drills, r.delivery) = (ruled("drilled").drills, ruled("add-cellular").delivery);
    s.mend = of("mend-first").mend;
    s.flaps = of("mend-first").flaps;
    let mut whole = Value::serialized(&s).expect("a snapshot is plain data");
    let mut paths = Vec::new();
    shorten(&mut whole);
    gather(&whole, &mut String::new(), &mut paths);
    paths.sort();
    paths.dedup();
    let mut attacked = 0;
    for path in paths.iter().filter(|p| !p.starts_with("/watch/") || *p == "/watch/ended") {
        let before = whole.clone();
        let mut n = 0;
        replace(&mut whole, &mut String::new(), path, &mut n);
        // A word of a closed list (a lane, a state) takes no other text.
        if whole.deserialized::<Snapshot>().is_ok() { attacked += 1 } else { whole = before }
    }
    assert!(attacked > 60, "only {attacked} of {} fields were attacked", paths.len());
    let mut s: Snapshot = whole.deserialized().expect("it was read a moment ago");
    s.troubles[0].number = u32::MAX;
    s
}

/// Two of each list will do, but for lanes.
fn shorten(v: &mut Value) {
    match v {
        Value::Array(items) => {
            if items.len() != 7 && items.iter().all(Value::is_map) {
                items.truncate(2);
            }
            items.iter_mut().for_each(shorten);
        }
        Value::Map(fields) => fields.iter_mut().for_each(|(_, v)| shorten(v)),
        _ => {}
    }
}

fn is_leaf(v: &Value) -> bool {
    matches!(v, Value::Text(_) | Value::Float(_))
}

/// Where texts and floats stand, lists taken as one place.
fn gather(v: &Value, at: &mut String, out: &mut Vec<String>) {
    let here = at.len();
    match v {
        Value::Array(items) => items.iter().for_each(|v| gather(v, at, out)),
        Value::Map(fields) => {
            for (key, v) in fields {
                at.push('/');
                at.push_str(key.as_text().unwrap_or_default());
                gather(v, at, out);
                at.truncate(here);
            }
        }
        leaf if is_leaf(leaf) => out.push(at.clone()),
        _ => {}
    }
}

/// Replaces every leaf at a path; each fifth text is long as well.
fn replace(v: &mut Value, at: &mut String, path: &str, n: &mut usize) {
    let here = at.len();
    match v {
        Value::Array(items) => items.iter_mut().for_each(|v| replace(v, at, path, n)),
        Value::Map(fields) => {
            for (key, v) in fields {
                at.push('/');
                at.push_str(key.as_text().unwrap_or_default());
                replace(v, at, path, n);
                at.truncate(here);
            }
        }
        Value::Text(text) if at == path => {
            *n += 1;
            HOSTILE.clone_into(text);
            if *n % 5 == 2 {
                text.push_str(&"x".repeat(5_000));
            }
        }
        Value::Float(x) if at == path => {
            *x = NONSENSE[*n % NONSENSE.len()];
            *n += 1;
        }
        _ => {}
    }
}
