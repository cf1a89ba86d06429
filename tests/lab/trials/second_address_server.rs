//! A second address server appears on the LAN.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "twodhcp",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.dnsmasq(
            "stray",
            "stray",
            "--port=0 --interface=eth0 --no-ping --dhcp-range=192.168.50.200,192.168.50.220,10m",
        );
        let fault = s.began(Side::Site, "second-address-server");
        s.edges(fault, Edges::Waived("it is asked for in rounds, ten seconds apart"));
        s.pause(30.0);
        s.place.kill("stray");
        s.ended(fault);
    },
    seconds: 90,
};
