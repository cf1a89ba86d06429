//! The router's resolver begins to invent an answer for every name.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "rewrite",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.kill("names");
        s.place.dnsmasq(
            "names",
            "router",
            "--listen-address=192.168.50.1 --bind-interfaces --no-resolv --address=/#/192.0.2.99",
        );
        let fault = s.began(Side::Site, "names-rewritten");
        s.edges(fault, Edges::Waived("a name that must not exist is asked for in rounds"));
    },
    seconds: 75,
};
