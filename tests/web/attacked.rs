//! A watch whose page is attacked by many at once: it keeps measuring, lets its owner in, and tells nothing.

use crate::lateness::{Stretch, hold};
use crate::watching::{SITE, Watch, once};
use serde_json::Value;
use std::time::Duration;

/// Fifteen seconds of more than 2,000 slow connections, huge heads, wrong tokens, other names in `Host` and crooked paths, from
/// several addresses; meanwhile the owner looks from another. Prints what came of it.
const ATTACK: &str = "
import json, os, resource, socket, threading, time
hard = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, 8192), hard))
END = time.monotonic() + 15
came = {'opened': 0, 'tries': {}, 'huge': {}, 'hosts': {}, 'paths': {}, 'owner': [], 'leaks': []}

def connect(source):
    s = socket.socket()
    s.bind((source, 0))
    s.settimeout(10)
    s.connect(('127.0.0.1', 9760))
    return s

def ask(source, head):
    began = time.monotonic()
    try:
        s = connect(source)
        try:
            s.sendall(head)
        except OSError:
            pass
        answer = b''
        while part := s.recv(65536):
            answer += part
    except OSError:
        answer = answer if 'answer' in locals() else b''
    code = answer.split(b' ')[1].decode() if answer.startswith(b'HTTP/1.1 ') else 'closed'
    return code, answer, time.monotonic() - began

def count(kind, code, answer):
    came[kind][code] = came[kind].get(code, 0) + 1
    if b'house-7' in answer or b'station' in answer:
        came['leaks'].append((kind, code))

def slow(n):
    held = []
    while time.monotonic() < END:
        while len(held) < 800 and time.monotonic() < END:
            try:
                s = connect(f'127.0.1.{n}')
                s.setblocking(False)
                held.append(s)
                came['opened'] += 1
            except OSError:
                break
        kept = []
        for s in held:
            try:
                s.send(b'G')
                kept.append(s)
            except OSError:
                s.close()
        held = kept
        time.sleep(0.5)

def tries():
    n = 0
    while time.monotonic() < END:
        n += 1
        code, answer, _ = ask('127.0.2.1', f'GET /api/v1/snapshot HTTP/1.1\\r\\nHost: localhost\\r\\nAuthorization: Bearer wrong-token-{n:08}\\r\\n\\r\\n'.encode())
        count('tries', code, answer)

def huge():
    while time.monotonic() < END:
        code, answer, _ = ask('127.0.2.2', b'GET / HTTP/1.1\\r\\nHost: localhost\\r\\nX: ' + b'a' * 1000000)
        count('huge', code, answer)

def hosts():
    while time.monotonic() < END:
        code, answer, _ = ask('127.0.2.3', b'GET /api/v1/snapshot HTTP/1.1\\r\\nHost: rebind.example\\r\\n\\r\\n')
        count('hosts', code, answer)
        time.sleep(0.05)

def paths():
    tricks = ['/../r.db', '/%2e%2e/r.db', '/..%2fr.db', '//r.db', '/api/v1/../../r.db', '/api/v1/snapshot%00', '/login/../api/v1/snapshot', '/page.css/../api/v1/snapshot', '/r.db', '/token', '/api/v1/snapshot?Authorization=Bearer', '/technician', '/']
    while time.monotonic() < END:
        for trick in tricks:
            code, answer, _ = ask('127.0.2.4', f'GET {trick} HTTP/1.1\\r\\nHost: localhost\\r\\n\\r\\n'.encode())
            count('paths', code, answer)
        time.sleep(0.2)

def owner():
    token = open('token').read().strip()
    while time.monotonic() < END:
        code, answer, took = ask('127.0.0.9', f'GET / HTTP/1.1\\r\\nHost: localhost\\r\\nAuthorization: Bearer {token}\\r\\n\\r\\n'.encode())
        came['owner'].append([code, took, b'house-7' in answer])
        time.sleep(0.3)

# The owner is a process of their own: what the attackers are busy with is not theirs to wait for.
told, tells = os.pipe()
if os.fork() == 0:
    owner()
    os.write(tells, json.dumps(came['owner']).encode())
    os._exit(0)
os.close(tells)

threads = [threading.Thread(target=slow, args=(n,)) for n in range(1, 5)]
threads += [threading.Thread(target=f) for f in (tries, huge, hosts, paths)]
for t in threads:
    t.start()
for t in threads:
    t.join()
came['owner'] = json.loads(open(told).read())
print(json.dumps(came))
";

#[test]
fn it_keeps_measuring_and_tells_nothing() {
    let mut w = Watch::start(SITE, "--page-token token");
    w.until("answers", |w| {
        once(w.dir.path(), &["export", "r.db", "--format", "jsonl"]).matches("\"connect\"").count() > 10
    });
    let stretch = Stretch::begin(&[w.pid()]);
    let came: Value = serde_json::from_str(&w.beside(&["/usr/bin/python3", "-c", ATTACK])).expect("JSON");
    println!("{came}");
    let codes = |kind: &str| -> Vec<String> { came[kind].as_object().expect("counts").keys().cloned().collect() };
    assert!(came["opened"].as_u64().expect("a number") > 2_000, "{came}");
    assert_eq!(came["leaks"], serde_json::json!([]), "nothing of the site is told");
    assert_eq!(came["tries"]["401"].as_u64().expect("some"), 6, "five at once and one after ten seconds: {came}");
    assert!(came["tries"]["429"].as_u64().expect("some") > 50, "{came}");
    assert!(codes("hosts").iter().all(|c| matches!(c.as_str(), "421" | "closed")), "{came}");
    assert!(codes("huge").iter().all(|c| matches!(c.as_str(), "431" | "closed")), "{came}");
    assert!(codes("paths").iter().all(|c| matches!(c.as_str(), "400" | "401" | "closed")), "{came}");
    // The owner, from another address: let in each time, and soon.
    let owner = came["owner"].as_array().expect("a list");
    assert!(owner.len() > 10 && owner.iter().all(|o| o[0] == "200" && o[2] == true), "{owner:?}");
    let mut took: Vec<f64> = owner.iter().map(|o| o[1].as_f64().expect("seconds")).collect();
    took.sort_by(f64::total_cmp);
    println!(
        "the owner waited {:.3} s, half of the time, and {:.3} s at most",
        took[took.len() / 2],
        took[took.len() - 1]
    );
    // The half of the questions were answered within this; each of them may have met a late host.
    let (half, late) = (Duration::from_secs_f64(took[took.len() / 2]), stretch.late());
    hold("the owner waited, half of the time", half, Duration::from_secs(1), late);
    assert_eq!(w.stop(), Some(0));
    // Asked each second all the while, answered, and nothing made of it.
    let lines = once(w.dir.path(), &["export", "r.db", "--format", "jsonl"]);
    let asked: Vec<f64> = lines
        .lines()
        .filter_map(|l| serde_json::from_str::<Value>(l).ok())
        .filter(|v| v["question"] == "connect")
        .map(|v| {
            assert_eq!(v["outcome"], "answered", "{v}");
            v["asked_us"].as_f64().expect("a number") / 1e6
        })
        .collect();
    let longest = asked.windows(2).map(|p| p[1] - p[0]).fold(0.0, f64::max);
    println!("{} questions, the longest pause {longest:.2} s", asked.len());
    assert!(asked.len() > 20, "{}", asked.len());
    hold("the longest pause", Duration::from_secs_f64(longest), Duration::from_millis(2_500), late);
}
