//! Our DNS against others': dnspython reads our queries and makes the replies we read (Debian `python3-dnspython`), and
//! a real unbound on loopback answers our probes (Debian `unbound`; local data only, it sends nothing to anyone).

mod asks_kit;
use asks_kit::{Running, context, plan, start};
use pathproof::judge::{Detail, NameAnswer, NotAsked, Observation, Outcome, Question};
use pathproof::probe::{names, outside};
use pathproof::wire::dns::{Asked, Checked};
use serde_json::{Value, json};
use std::io::Write as _;
use std::net::{SocketAddr, UdpSocket};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Runs a script with dnspython; it reads one JSON value and writes one.
fn dnspython(script: &str, input: &Value) -> Value {
    let mut child = Command::new("/usr/bin/python3")
        .args([
            "-c",
            &format!(
                "import dns.flags, dns.message, dns.rcode, dns.rrset, json, sys\nd = json.load(sys.stdin)\n{script}"
            ),
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("/usr/bin/python3 is there");
    child.stdin.take().expect("piped").write_all(input.to_string().as_bytes()).expect("written");
    let out = child.wait_with_output().expect("ends");
    assert!(out.status.success(), "dnspython is needed for this test, and its script must run");
    serde_json::from_slice(&out.stdout).expect("JSON")
}

#[test]
fn dnspython_reads_our_queries_field_by_field() {
    let script = "
out = []
for h in d:
    m = dns.message.from_wire(bytes.fromhex(h))
    q = m.question[0]
    out.append([m.id, m.opcode(), int(m.flags), len(m.question), q.name.to_text(), int(q.rdtype), int(q.rdclass),
        m.edns, m.payload, int(m.ednsflags), len(m.options), len(m.answer) + len(m.authority) + len(m.additional)])
json.dump(out, sys.stdout)";
    let address = Asked::address("Name.example").expect("a name").query(0xbeef);
    let root = Asked::root_servers().query(1);
    let read = dnspython(script, &json!([hex(&address), hex(&root)]));
    assert_eq!(
        read,
        json!([
            [0xbeef, 0, 0x0100, 1, "Name.example.", 1, 1, 0, 1232, 0, 0, 0],
            [1, 0, 0, 1, ".", 2, 1, 0, 1232, 0, 0, 0]
        ])
    );
}

/// Replies made by dnspython from our query; `is_response` is its own opinion whether one belongs to the other.
const REPLIES: &str = "
q = dns.message.from_wire(bytes.fromhex(d))
def reply(rcode=0, answers=(), edit=None):
    r = dns.message.make_response(q)
    r.set_rcode(rcode)
    for a in answers: r.answer.append(dns.rrset.from_text(*a))
    if edit: edit(r)
    return r
def name(n):
    def edit(r): r.question = [dns.rrset.RRset(dns.name.from_text(n), 1, 1)]
    return edit
def set_id(r): r.id = (q.id + 1) % 65536
def no_question(r): r.question = []
def query(r): r.flags &= ~dns.flags.QR
def cut(r): r.flags |= dns.flags.TC
A = [('a.test.', 60, 'IN', 'A', '192.0.2.1', '192.0.2.2')]
chain = [('a.test.', 60, 'IN', 'CNAME', 'b.test.'), ('b.test.', 60, 'IN', 'CNAME', 'c.b.test.'),
    ('c.b.test.', 60, 'IN', 'A', '192.0.2.7'), ('c.b.test.', 60, 'IN', 'AAAA', '2001:db8::7')]
many = [('a.test.', 60, 'IN', 'A', *['192.0.2.%d' % i for i in range(1, 21)])]
cases = {
    'plain': reply(0, A), 'nxdomain': reply(3), 'nodata': reply(0), 'servfail': reply(2), 'refused': reply(5),
    'badvers': reply(16), 'chain': reply(0, chain), 'many': reply(0, many), 'cut': reply(0, A, cut),
    'wrong id': reply(0, A, set_id), 'wrong question': reply(0, A, name('b.test.')), 'case': reply(0, A, name('A.TEST.')),
    'no question': reply(0, A, no_question), 'no question, formerr': reply(1, (), no_question), 'a query': reply(0, A, query),
    'wrong type': reply(0, A, lambda r: setattr(r, 'question', [dns.rrset.RRset(q.question[0].name, 1, 28)])),
}
json.dump({k: [r.to_wire().hex(), q.is_response(r)] for k, r in cases.items()}, sys.stdout)";

#[test]
fn replies_made_by_dnspython_are_read_as_meant() {
    let asked = Asked::address("a.test").expect("a name");
    let id = 0x0102;
    let replies = dnspython(REPLIES, &json!(hex(&asked.query(id))));
    let replies = replies.as_object().expect("an object");
    assert_eq!(replies.len(), 16);
    // dnspython writes the records of a set in any order.
    let check = |case: &str| match asked.check(id, &unhex(replies[case][0].as_str().expect("hex"))) {
        Checked::Answer(mut a) => {
            a.addresses.sort();
            Checked::Answer(a)
        }
        other => other,
    };
    for (case, reply) in replies {
        let ours = matches!(check(case), Checked::Answer(_) | Checked::Truncated(_));
        assert_eq!(ours, reply[1].as_bool().expect("a boolean"), "{case}: {:?}", check(case));
    }
    let a = |s: &str| s.parse().expect("an address");
    let says = |code, answers, addresses| {
        Checked::Answer(NameAnswer { code, answers, addresses, truncated: false, over_tcp: false })
    };
    assert_eq!(check("plain"), says(0, 2, vec![a("192.0.2.1"), a("192.0.2.2")]));
    assert_eq!(check("nxdomain"), says(3, 0, vec![]));
    assert_eq!(check("nodata"), says(0, 0, vec![]));
    assert_eq!(check("servfail"), says(2, 0, vec![]));
    assert_eq!(check("refused"), says(5, 0, vec![]));
    assert_eq!(check("badvers"), says(16, 0, vec![]), "extended code, RFC 6891 section 6.1.3");
    assert_eq!(check("chain"), says(0, 4, vec![a("192.0.2.7"), a("2001:db8::7")]));
    assert!(matches!(check("many"), Checked::Answer(n) if n.answers == 20 && n.addresses.len() == 8));
    assert!(matches!(check("cut"), Checked::Truncated(_)));
    assert_eq!(check("wrong id"), Checked::NotOurs);
    assert_eq!(check("wrong question"), Checked::Malformed);

    // Cut anywhere, with or without saying so: never a panic, never a wrong answer.
    for (case, reply) in replies {
        let whole = unhex(reply[0].as_str().expect("hex"));
        for end in 0..whole.len() {
            let got = asked.check(id, &whole[..end]);
            assert!(!matches!(got, Checked::Answer(_)), "{case} cut at {end}: {got:?}");
        }
    }
}

/// A real unbound with local data alone: static zones answer or deny, nothing is forwarded or looked up.
fn unbound(port: u16) -> (Running, tempfile::TempDir) {
    let dir = tempfile::tempdir().expect("a directory");
    let file = dir.path().join("unbound.conf");
    let many: Vec<String> = (0..40).map(|i| format!("  local-data: \"big.test. 60 IN A 198.51.100.{i}\"\n")).collect();
    let many = many.concat();
    std::fs::write(
        &file,
        format!(
            "server:
  directory: \"{0}\"
  pidfile: \"\"
  chroot: \"\"
  username: \"\"
  use-syslog: no
  logfile: \"{0}/log\"
  interface: 127.0.0.1@{port}
  interface: ::1@{port}
  access-control: 127.0.0.0/8 allow
  access-control: ::1/128 allow
  do-daemonize: no
  do-not-query-localhost: yes
  module-config: \"iterator\"
  max-udp-size: 512
  local-zone: \".\" static
  local-data: \". 60 IN NS a.root.test.\"
  local-zone: \"test.\" static
  local-data: \"a.test. 60 IN A 192.0.2.1\"
  local-zone: \"refused.test.\" refuse
{many}remote-control:
  control-enable: no
",
            dir.path().display()
        ),
    )
    .expect("written");
    let server = start("unbound", &["-c", file.to_str().expect("a plain path")]);
    for _ in 0..100 {
        if std::net::TcpStream::connect(("127.0.0.1", port)).is_ok() {
            return (server, dir);
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let log = std::fs::read_to_string(dir.path().join("log")).unwrap_or_default();
    panic!("unbound did not start: {log}");
}

fn free_port() -> u16 {
    UdpSocket::bind("127.0.0.1:0").expect("a port").local_addr().expect("its address").port()
}

async fn first_turns(existing: &str, resolver: SocketAddr, count: usize) -> Vec<Observation> {
    let resolvers = json!([{"name": resolver.ip().to_string(), "address": resolver.to_string()}]);
    let (ctx, mut agent) = context(plan(json!({"resolvers": resolvers, "existing_name": existing})));
    let probe = tokio::spawn(names::run(ctx));
    let mut all = Vec::new();
    while all.len() < count {
        all.push(agent.next().await);
    }
    drop(agent);
    tokio::time::timeout(Duration::from_secs(5), probe).await.expect("ends").expect("no panic");
    all
}

fn name(o: &Observation) -> &NameAnswer {
    match &o.detail {
        Detail::Name(n) => n,
        other => panic!("no answer: {other:?} in {o:?}"),
    }
}

#[tokio::test]
async fn a_real_resolver_answers_denies_and_refuses() {
    let port = free_port();
    let (_server, _dir) = unbound(port);
    for ip in ["127.0.0.1", "::1"] {
        let at = SocketAddr::new(ip.parse().expect("an address"), port);
        // The five names and the control after them, at a second each.
        let all = first_turns("a.test.", at, 6).await;
        for o in &all[..5] {
            assert_eq!((o.question, o.outcome, &*o.target), (Question::Name, Outcome::Answered, ip));
            assert_eq!((name(o).code, name(o).answers, name(o).over_tcp), (0, 1, false));
            assert!(o.rtt.is_some_and(|r| r.took == o.known - o.asked));
        }
        assert_eq!((all[5].question, name(&all[5]).code), (Question::ControlName, 3));

        let o = &first_turns("big.test.", at, 1).await[0];
        assert_eq!(
            (o.outcome, name(o).answers, name(o).truncated, name(o).over_tcp),
            (Outcome::Answered, 40, true, true)
        );
        let o = &first_turns("nothing.test.", at, 1).await[0];
        assert_eq!((o.outcome, name(o).code), (Outcome::Answered, 3));
        let o = &first_turns("x.refused.test.", at, 1).await[0];
        assert_eq!((o.outcome, name(o).code), (Outcome::Refused, 5));
    }

    let references = json!([{"name": "one", "address": format!("127.0.0.1:{port}")},
        {"name": "two", "address": format!("[::1]:{port}"), "builtin": true}]);
    let (ctx, mut agent) = context(plan(json!({"references": references})));
    tokio::spawn(outside::run(ctx));
    let mut counts = [0, 0];
    let until = tokio::time::Instant::now() + Duration::from_secs(8);
    while let Ok(Some(o)) = tokio::time::timeout_at(until, agent.seen.recv()).await {
        assert_eq!((o.question, o.outcome, name(&o).code), (Question::Reference, Outcome::Answered, 0));
        counts[usize::from(&*o.target == "two")] += 1;
    }
    assert!(counts[0] >= 7 && counts[1] == 1, "a second for one, ten for the built-in two: {counts:?}");
}

/// A server with one trick a turn, told what it was asked.
fn trickster(reply: impl Fn(&[u8]) -> Vec<Vec<u8>> + Send + 'static) -> SocketAddr {
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a port");
    let at = socket.local_addr().expect("its address");
    std::thread::spawn(move || {
        let mut buffer = [0; 1500];
        while let Ok((n, from)) = socket.recv_from(&mut buffer) {
            for r in reply(&buffer[..n]) {
                let _ = socket.send_to(&r, from);
            }
        }
    });
    at
}

fn answer_to(query: &[u8]) -> Vec<u8> {
    let mut r = query.to_vec();
    r[2] |= 0x80;
    r
}

#[tokio::test]
async fn hostile_and_absent_servers_are_told_apart() {
    let outcome = async |at| first_turns("a.test.", at, 1).await.remove(0);

    let silent = trickster(|_| vec![]);
    assert_eq!(outcome(silent).await.outcome, Outcome::Timeout);

    let closed = SocketAddr::from(([127, 0, 0, 1], free_port()));
    let o = outcome(closed).await;
    assert_eq!(o.outcome, Outcome::Refused);
    assert!((o.known - o.asked).0 < 500_000, "told at once: {o:?}");

    let forged = trickster(|q| {
        let mut r = answer_to(q);
        r[0] ^= 1;
        vec![r; 50]
    });
    assert_eq!(outcome(forged).await.outcome, Outcome::Timeout);

    let junk = trickster(|q| (0..200).map(|n: u8| [&q[..2], &[n; 60][..usize::from(n % 60)]].concat()).collect());
    let o = outcome(junk).await;
    assert_eq!(o.outcome, Outcome::Malformed);
    assert!((o.known - o.asked).0 < 1_300_000);

    let forged_then_true = trickster(|q| vec![vec![0; 3], q.to_vec(), answer_to(q)]);
    assert_eq!(outcome(forged_then_true).await.outcome, Outcome::Answered);

    // Cut, and nobody on TCP.
    let cut = trickster(|q| {
        let mut r = answer_to(q);
        r[2] |= 2;
        vec![r]
    });
    let o = outcome(cut).await;
    assert_eq!((o.outcome, name(&o).truncated, name(&o).over_tcp), (Outcome::Refused, true, false));

    let (ctx, mut agent) = context(plan(json!({})));
    tokio::spawn(names::run(ctx));
    assert_eq!(agent.next().await.outcome, Outcome::NotAsked(NotAsked::NoTarget));
    let o = first_turns("no..name", silent, 1).await.remove(0);
    assert_eq!(o.outcome, Outcome::NotAsked(NotAsked::Local));
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat()
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).expect("hex")).collect()
}
