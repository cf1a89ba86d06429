//! Everybody who may be asked about power and the router's life answers with junk without end, and a box on the LAN offers
//! ten thousand leases to every question for one. Time and memory stay bounded and nothing is made up.

use crate::lateness::fairly;
use crate::place::Place;

/// A NUT server that never ends its line, an SNMP agent that sends noise, a UPnP router whose description never ends.
const JUNK: &str = r"
import os, socket, struct, threading
def tcp(at, port, head, more):
    s=socket.socket(); s.setsockopt(socket.SOL_SOCKET,socket.SO_REUSEADDR,1); s.bind((at,port)); s.listen(16)
    def pour(c):
        try:
            c.sendall(head)
            while True: c.sendall(more); print('poured',port,flush=True)
        except OSError: pass
    while True: threading.Thread(target=pour,args=(s.accept()[0],),daemon=True).start()
def udp(port, reply, group=None):
    s=socket.socket(socket.AF_INET,socket.SOCK_DGRAM); s.setsockopt(socket.SOL_SOCKET,socket.SO_REUSEADDR,1); s.bind(('',port))
    if group: s.setsockopt(socket.IPPROTO_IP,socket.IP_ADD_MEMBERSHIP,socket.inet_aton(group)+socket.inet_aton('192.168.50.1'))
    while True:
        d,a=s.recvfrom(2048); print('asked',port,flush=True)
        for r in reply(d): s.sendto(r,a)
found=(b'HTTP/1.1 200 OK\r\nST: urn:schemas-upnp-org:device:InternetGatewayDevice:1\r\nUSN: uuid:1\r\nLOCATION: http://192.168.50.1:5000/d.xml\r\n\r\n')
for job in [lambda: tcp('192.168.50.1',3493,b'VAR ',b'A'*65536),
            lambda: tcp('192.168.50.1',5000,b'HTTP/1.1 200 OK\r\nContent-Type: text/xml\r\n\r\n<?xml version=\x221.0\x22?><root>',b'<a><!-- '*8192),
            lambda: udp(161,lambda d:[os.urandom(60) for _ in range(50)]+[d[:n] for n in range(0,len(d),3)]),
            lambda: udp(1900,lambda d:[found]*20+[found[:n] for n in range(0,len(found),9)],'239.255.255.250')]:
    threading.Thread(target=job,daemon=True).start()
threading.Event().wait()
";

/// Ten thousand offers, each from a server of its own, to each question for a lease.
const OFFERS: &str = r"
import socket, struct
s=socket.socket(socket.AF_PACKET,socket.SOCK_RAW,socket.htons(0x800)); s.bind(('eth0',0))
mine=s.getsockname()[4]
while True:
    f=s.recv(2048)
    if len(f)<282 or f[23]!=17 or f[36:38]!=b'\x00\x43': continue
    xid,mac=f[46:50],f[70:76]
    print('asked for a lease',flush=True)
    for n in range(10000):
        server=bytes([192,168,50+(n>>8),n&255])
        b=struct.pack('!BBBB4sHH4s4s4s4s16s64s128s4s',2,1,6,0,xid,0,0x8000,b'\0'*4,bytes([192,168,50,77]),server,b'\0'*4,mac+b'\0'*10,b'\0'*64,b'\0'*128,b'\x63\x82\x53\x63')
        b+=b'\x35\x01\x02\x36\x04'+server+b'\x33\x04\x00\x00\x0e\x10\xff'
        u=struct.pack('!HHHH',67,68,8+len(b),0)+b
        h=struct.pack('!BBHHHBBH4s4s',0x45,0,20+len(u),0,0,64,17,0,server,b'\xff'*4)
        c=sum(struct.unpack('!10H',h)); c=(c>>16)+(c&0xffff); c=(c>>16)+(c&0xffff)
        h=h[:10]+struct.pack('!H',0xffff^c)+h[12:]
        try: s.send(b'\xff'*6+mine+b'\x08\x00'+h+u)
        except OSError: pass
    print('offered',flush=True)
";

/// Most resident memory the survey may come to (kB): a clean one takes a tenth of it in this unoptimised build.
const MOST_KB: u64 = 400_000;

#[test]
fn junk_without_end_and_ten_thousand_offers_leave_time_and_memory_bounded() {
    fairly("junk_without_end_and_ten_thousand_offers_leave_time_and_memory_bounded", || {
        let mut p = Place::new("flood");
        p.site_file("mains = \"1s\"\nsigns = \"10s\"\n[power]\nnut = \"192.168.50.1\"\nsnmp = \"192.168.50.1\"\n");
        p.start("junk", "router", &["/usr/bin/python3", "-c", JUNK]);
        p.until_open("router", "tcp", 3_493);
        p.start("offers", "stray", &["/usr/bin/python3", "-c", OFFERS]);
        let running = p.begin(60, &[]);
        running.until(55.0);
        let status = std::fs::read_to_string(format!("/proc/{}/status", running.child.id())).expect("it still runs");
        let peak = status.lines().find(|l| l.starts_with("VmHWM")).expect("the kernel counts it");
        let peak_kb: u64 = peak.split_whitespace().nth(1).and_then(|n| n.parse().ok()).expect("kilobytes");
        let said = p.end(running);
        let (junk, offers) = (p.log("junk"), p.log("offers"));
        for heard in ["poured 3493", "poured 5000", "asked 161", "asked 1900"] {
            assert!(junk.contains(heard), "the hostile router was not asked: {heard}");
        }
        assert!(offers.matches("offered").count() >= 3, "{offers}");
        assert!(peak_kb < MOST_KB, "{peak}");
        // Many servers there are; nothing else is.
        assert!(said.causes().iter().all(|c| *c == "second-address-server"), "{:#}", said.json["troubles"]);
        assert!(said.json["watch"]["coverage"].as_f64().expect("number") > 0.9);
        assert!(said.json.to_string().len() < 2_000_000, "what is said grows with the junk");
        said.same_when_judged_again();
    });
}
