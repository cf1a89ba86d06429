//! This device's clock is two hours from that of the time source named, from the start.

use crate::trial::{Edges, Side, Trial};

/// A time source whose clock is off (RFC 5905 by scapy's own layer).
const OFF: &str = r"
import socket, time
from scapy.layers.ntp import NTPHeader
s=socket.socket(socket.AF_INET,socket.SOCK_DGRAM); s.bind(('198.51.100.123',123))
while True:
    d,a=s.recvfrom(2000)
    now=time.time()-7200+2208988800
    r=NTPHeader(leap=0,version=4,mode=4,stratum=2,delay=0.02,dispersion=0.01,ref=now,recv=now,sent=time.time()-7200+2208988800)
    b=bytearray(bytes(r)); b[24:32]=d[40:48]
    s.sendto(bytes(b),a)
";

pub(crate) const TRIAL: Trial = Trial {
    name: "clock",
    site: "[[time_source]]\nname = \"time\"\nhost = \"198.51.100.123\"\nevery = \"64s\"\n",
    prepare: |p| {
        p.ip("net", "addr add 198.51.100.123/32 dev lo");
        p.start("time", "net", &["/usr/bin/python3", "-c", OFF]);
        p.until_open("net", "udp", 123);
    },
    play: |s| {
        let fault = s.began(Side::Site, "clock-offset");
        s.edges(fault, Edges::Waived("a clock is off from the start and cuts nothing: there is no edge"));
    },
    seconds: 80,
};
