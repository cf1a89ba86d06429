//! DHCP against an independent implementation: scapy 2.5 (Debian `python3-scapy`, run with `/usr/bin/python3`).
//!
//! Our discover is decoded by scapy, field by field; offers built by scapy are read by us. Fails, never skips, where
//! scapy is missing: `apt-get install python3-scapy`.

use pathproof::judge::{Lease, Mac};
use pathproof::wire::{arp, dhcp};
use std::io::Write;
use std::net::IpAddr;
use std::process::{Command, Stdio};

/// Runs a script with scapy loaded; gives what it printed.
fn scapy(script: &str, input: &str) -> String {
    let prelude = "import sys, json\nfrom scapy.layers.l2 import Ether, ARP\nfrom scapy.layers.inet import IP, UDP\n\
                   from scapy.layers.dhcp import BOOTP, DHCP\n";
    let mut child = Command::new("/usr/bin/python3")
        .args(["-c", &format!("{prelude}{script}")])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("/usr/bin/python3 is needed for this test");
    child.stdin.take().expect("piped").write_all(input.as_bytes()).expect("python reads it");
    let out = child.wait_with_output().expect("python ends");
    assert!(out.status.success(), "scapy is needed for this test: apt-get install python3-scapy");
    String::from_utf8(out.stdout).expect("UTF-8")
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, b| text + &format!("{b:02x}"))
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).expect("hex")).collect()
}

fn ip(text: &str) -> IpAddr {
    text.parse().expect("literal")
}

const OURS: Mac = Mac([2, 0, 0x5e, 0x10, 0, 1]);

#[test]
fn scapy_reads_every_field_of_our_discover() {
    let frame = dhcp::discover(OURS, 0xdead_beef);
    let script = r"
p = Ether(bytes.fromhex(sys.stdin.read()))
b = p[BOOTP]
told = dict(dst=p.dst, src=p.src, type=p.type, ipsrc=p[IP].src, ipdst=p[IP].dst, proto=p[IP].proto,
    sport=p[UDP].sport, dport=p[UDP].dport, iplen=p[IP].len, udplen=p[UDP].len, op=b.op, htype=b.htype, hlen=b.hlen,
    hops=b.hops, xid=b.xid, secs=b.secs, flags=int(b.flags), ciaddr=b.ciaddr, yiaddr=b.yiaddr, siaddr=b.siaddr, giaddr=b.giaddr,
    chaddr=b.chaddr.hex(), sname=any(b.sname), file=any(b.file), length=len(bytes(p)))
told['options'] = {o[0]: (o[1].hex() if isinstance(o[1], bytes) else o[1] if len(o) == 2 else list(o[1:]))
    for o in p[DHCP].options if isinstance(o, tuple)}
sums = (p[IP].chksum, p[UDP].chksum)
q = p.copy()
del q[IP].chksum, q[UDP].chksum
q = Ether(bytes(q))
told['sums_right'] = sums == (q[IP].chksum, q[UDP].chksum)
print(json.dumps(told))
";
    let told: serde_json::Value = serde_json::from_str(&scapy(script, &hex(&frame))).expect("JSON");
    // RFC 2131 table 5 (DHCPDISCOVER) and section 4.1 (addresses, ports, broadcast flag).
    let expected = serde_json::json!({
        "dst": "ff:ff:ff:ff:ff:ff", "src": "02:00:5e:10:00:01", "type": 0x0800, "ipsrc": "0.0.0.0",
        "ipdst": "255.255.255.255", "proto": 17, "sport": 68, "dport": 67, "iplen": frame.len() - 14,
        "udplen": frame.len() - 34, "op": 1, "htype": 1, "hlen": 6, "hops": 0, "xid": 0xdead_beef_u32, "secs": 0,
        "flags": 0x8000, "ciaddr": "0.0.0.0", "yiaddr": "0.0.0.0", "siaddr": "0.0.0.0", "giaddr": "0.0.0.0",
        "chaddr": "02005e10000100000000000000000000", "sname": false, "file": false, "length": frame.len(),
        "sums_right": true,
    });
    for (key, value) in expected.as_object().expect("an object") {
        assert_eq!(&told[key], value, "{key}");
    }
    let options = &told["options"];
    assert_eq!(options["message-type"], 1, "RFC 2132 section 9.6: DHCPDISCOVER");
    assert_eq!(options["client_id"], "0102005e100001", "RFC 2132 section 9.14: type 1, hardware address");
    assert_eq!(options["param_req_list"], serde_json::json!([1, 3, 6, 51, 54, 58, 59, 108, 114]));
    assert!(options["requested_addr"].is_null() && options["server_id"].is_null(), "no request is made: {options}");
}

#[test]
fn we_read_offers_as_scapy_builds_them() {
    // Odd order, padding between, unknown options, options continued in the file and sname fields (RFC 2131 section 4.1,
    // option 52), a long list split in two (RFC 3396), no end option, a VLAN tag, another transaction.
    let script = r"
def offer(options, xid=7, **kw):
    return Ether(src='02:00:5e:10:00:02', dst='ff:ff:ff:ff:ff:ff')/IP(src='192.0.2.1', dst='255.255.255.255')/UDP(sport=67, dport=68)/BOOTP(
        op=2, xid=xid, yiaddr='192.0.2.50', siaddr='192.0.2.1', chaddr=bytes.fromhex('02005e100001'), **kw)/DHCP(options=options)
full = [('message-type', 'offer'), ('server_id', '192.0.2.1'), ('lease_time', 3600), ('renewal_time', 1800), ('rebinding_time', 3150),
    ('subnet_mask', '255.255.255.0'), ('router', '192.0.2.1', '192.0.2.2'), ('name_server', '192.0.2.1', '198.51.100.53'), 'end']
odd = ['pad', ('rebinding_time', 3150), ('hostname', b'\xff\xfe'), 'pad', ('name_server', '192.0.2.1', '198.51.100.53'), (224, b'x' * 40),
    ('router', '192.0.2.1', '192.0.2.2'), ('subnet_mask', '255.255.255.0'), ('renewal_time', 1800), ('lease_time', 3600),
    ('server_id', '192.0.2.1'), ('message-type', 'offer')]
area = lambda o: bytes(DHCP(options=o))
over = [('message-type', 'offer'), (52, b'\x03'), 'end']
infile = area([('server_id', '192.0.2.1'), ('lease_time', 3600), ('renewal_time', 1800), ('rebinding_time', 3150), 'end']).ljust(128, b'\0')
insname = area([('subnet_mask', '255.255.255.0'), ('router', '192.0.2.1', '192.0.2.2'), ('name_server', '192.0.2.1', '198.51.100.53'), 'end']).ljust(64, b'\0')
split = [o for o in full if o[0] != 'name_server' and o != 'end'] + [(6, bytes([192, 0, 2])), (6, bytes([1, 198, 51, 100, 53])), 'end']
frames = dict(plain=offer(full), odd=offer(odd), overload=offer(over, file=infile, sname=insname), split=offer(split), other=offer(full, xid=8))
out = {k: bytes(v).hex() for k, v in frames.items()}
from scapy.layers.l2 import Dot1Q
v = offer(full); out['tagged'] = bytes(Ether(src=v.src, dst=v.dst)/Dot1Q(vlan=5)/v[IP]).hex()
print(json.dumps(out))
";
    let built: serde_json::Value = serde_json::from_str(&scapy(script, "")).expect("JSON");
    let frame = |key: &str| unhex(built[key].as_str().expect(key));
    let expected = Lease {
        address: Some(ip("192.0.2.50")),
        server: Some(ip("192.0.2.1")),
        lease_s: Some(3_600),
        renew_s: Some(1_800),
        rebind_s: Some(3_150),
        prefix: Some(24),
        routers: vec![ip("192.0.2.1"), ip("192.0.2.2")],
        resolvers: vec![ip("192.0.2.1"), ip("198.51.100.53")],
        from: Some(Mac([2, 0, 0x5e, 0x10, 0, 2])),
        ..Lease::default()
    };
    for key in ["plain", "odd", "overload", "split"] {
        assert_eq!(dhcp::offer(&frame(key), 7), Ok(Some(expected.clone())), "{key}");
    }
    for key in ["other", "tagged"] {
        assert_eq!(dhcp::offer(&frame(key), 7), Ok(None), "{key}");
    }
}

#[test]
fn scapy_and_we_agree_on_arp() {
    let request = arp::request(OURS, [192, 0, 2, 7].into(), [192, 0, 2, 1].into());
    let probe = arp::probe(OURS, [192, 0, 2, 7].into());
    let script = r"
r, p = [Ether(bytes.fromhex(x)) for x in sys.stdin.read().split()]
f = lambda p: [p.dst, p.src, p.type] + [p[ARP].getfieldval(k) for k in 'hwtype ptype hwlen plen op hwsrc psrc hwdst pdst'.split()]
reply = Ether(src='02:00:5e:10:00:02', dst=r.src)/ARP(op=2, hwsrc='02:00:5e:10:00:02', psrc='192.0.2.1', hwdst=r.src, pdst='192.0.2.7')
print(json.dumps([f(r), f(p), bytes(reply).hex()]))
";
    let input = format!("{} {}", hex(&request), hex(&probe));
    let told: serde_json::Value = serde_json::from_str(&scapy(script, &input)).expect("JSON");
    let fields = |sender: &str, wanted: &str| {
        serde_json::json!([
            "ff:ff:ff:ff:ff:ff",
            "02:00:5e:10:00:01",
            0x0806,
            1,
            0x0800,
            6,
            4,
            1,
            "02:00:5e:10:00:01",
            sender,
            "00:00:00:00:00:00",
            wanted
        ])
    };
    assert_eq!(told[0], fields("192.0.2.7", "192.0.2.1"));
    assert_eq!(told[1], fields("0.0.0.0", "192.0.2.7"), "RFC 5227 section 2.1.1");
    let reply = arp::parse(&unhex(told[2].as_str().expect("hex"))).expect("a reply");
    let expected = arp::Arp {
        reply: true,
        sender: Mac([2, 0, 0x5e, 0x10, 0, 2]),
        sender_ip: [192, 0, 2, 1].into(),
        target: OURS,
        target_ip: [192, 0, 2, 7].into(),
    };
    assert_eq!(reply, expected);
}
