//! A hostile box on the LAN answers everything with junk: malformed address, name, ARP and echo replies.

use crate::lateness::fairly;
use crate::place::Place;

/// Sends junk of every kind at everything it hears, for as long as it lives (scapy builds the frames).
const HOSTILE: &str = r"
import random, sys
from scapy.all import *
random.seed(7)
def junk(n): return bytes(random.randrange(256) for _ in range(n))
def answer(p):
    try:
        if p.haslayer(ARP) and p[ARP].op == 1:
            good = bytes(Ether(dst=p.src)/ARP(op=2, psrc=p[ARP].pdst, pdst=p[ARP].psrc, hwdst=p[ARP].hwsrc))
            sendp(Raw(good[:random.randrange(15, len(good))]), verbose=0)
            sendp(Ether(dst=p.src, type=0x806)/Raw(junk(random.randrange(60))), verbose=0)
        elif p.haslayer(BOOTP):
            offer = bytes(BOOTP(op=2, xid=p[BOOTP].xid, chaddr=p[BOOTP].chaddr, yiaddr='192.168.50.77')/DHCP(options=[('message-type','offer'),('server_id','192.168.50.9'),('lease_time',0),'end']))
            for _ in range(30):
                b = bytearray(offer[:random.randrange(1, len(offer))] + junk(random.randrange(300)))
                for _ in range(random.randrange(8)): b[random.randrange(len(b))] = random.randrange(256)
                sendp(Ether(dst=p.src)/IP(src='192.168.50.9',dst='255.255.255.255')/UDP(sport=67,dport=68)/Raw(bytes(b)), verbose=0)
        elif p.haslayer(ICMP):
            sendp(Ether(dst=p.src)/IP(src=p[IP].dst,dst=p[IP].src)/ICMP(type=random.choice([0,3,5,11]),code=random.randrange(16))/Raw(junk(random.randrange(80))), verbose=0)
        elif p.haslayer(UDP) and p[UDP].dport == 53:
            for _ in range(3):
                q = bytes(p[UDP].payload)
                sendp(Ether(dst=p.src)/IP(src=p[IP].dst,dst=p[IP].src)/UDP(sport=53,dport=p[UDP].sport)/Raw(q[:2]+junk(random.randrange(400))), verbose=0)
        print('answered', flush=True)
    except Exception as e: print('E', e, flush=True)
print('listening', flush=True)
sniff(iface='lan0', prn=answer, store=0, filter='src host 192.168.50.20 or arp or udp port 68')
";

#[test]
fn junk_from_a_hostile_box_neither_stops_nor_fools_it() {
    fairly("junk_from_a_hostile_box_neither_stops_nor_fools_it", || {
        let mut p = Place::new("junk");
        p.site_file("");
        // On the router itself, so that every question passes by; the honest answers arrive as well.
        p.start("hostile", "router", &["/usr/bin/python3", "-c", HOSTILE]);
        let running = p.begin(60, &[]);
        let said = p.end(running);
        let heard = p.log("hostile");
        assert!(heard.matches("answered").count() > 50, "the hostile box was idle: {heard}");
        assert!(!said.causes().contains(&"access-line"), "{:#}", said.json["troubles"]);
        assert!(said.json["watch"]["coverage"].as_f64().expect("number") > 0.9);
        said.same_when_judged_again();
    });
}
