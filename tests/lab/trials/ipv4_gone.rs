//! The router hands out IPv6 only: the host's IPv4 address goes, its IPv6 address stays.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "nov4",
    site: "signs = \"10s\"\n",
    prepare: |p| {
        p.ip("router", "addr add 2001:db8:50::1/64 dev lan0");
        p.router_advertisements();
        std::thread::sleep(std::time::Duration::from_secs(4));
    },
    play: |s| {
        s.wait_for_start();
        s.place.ip("host", "-4 addr flush dev eth0");
        let fault = s.began(Side::Site, "ipv4-missing");
        s.edges(
            fault,
            Edges::Hidden("the missing protocol is a trouble of its own, seen at the turns that ask for it"),
        );
        s.pause(45.0);
        s.place.ip("host", "addr add 192.168.50.20/24 dev eth0");
        s.place.ip("host", "route add default via 192.168.50.1");
        s.ended(fault);
    },
    seconds: 100,
};
