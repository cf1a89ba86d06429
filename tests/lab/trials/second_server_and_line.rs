//! Compound: a second address server appears, then the line is cut.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c7",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.dnsmasq(
            "stray",
            "stray",
            "--port=0 --interface=eth0 --no-ping --dhcp-range=192.168.50.200,192.168.50.220,10m",
        );
        let server = s.began(Side::Site, "second-address-server");
        s.edges(server, Edges::Hidden("a second server is looked for in rounds, ten seconds apart"));
        s.pause(20.0);
        s.place.drop_arriving("net", "cut", "iifname far0");
        let line = s.began(Side::Provider, "access-line");
        s.pause(12.0);
        s.place.let_pass("net", "cut");
        s.ended(line);
    },
    seconds: 90,
};
