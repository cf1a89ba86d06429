//! The provider changes to IPv6 with translation: the host's IPv4 address goes, the resolver offers translated ones.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "nat64",
    site: "[[resolver]]\naddress = \"2001:db8:50::1\"\n",
    prepare: |p| {
        p.ip("router", "addr add 2001:db8:50::1/64 dev lan0 nodad");
        p.router_advertisements();
        p.translating_resolver("2001:db8:50::1");
        std::thread::sleep(std::time::Duration::from_secs(4));
    },
    play: |s| {
        s.wait_for_start();
        s.place.ip("host", "-4 addr flush dev eth0");
        let fault = s.began(Side::Site, "ipv4-translated");
        s.edges(fault, Edges::Hidden("the missing address is a trouble of its own beside the translation"));
        s.pause(50.0);
        s.place.ip("host", "addr add 192.168.50.20/24 dev eth0");
        s.place.ip("host", "route add default via 192.168.50.1");
        s.ended(fault);
    },
    seconds: 105,
};
