//! Another box takes the host's address.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "conflict",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("stray", "addr add 192.168.50.20/24 dev eth0");
        let fault = s.began(Side::Site, "address-conflict");
        s.edges(fault, Edges::Waived("it is asked for in rounds, ten seconds apart"));
        s.pause(30.0);
        s.place.ip("stray", "addr del 192.168.50.20/24 dev eth0");
        s.ended(fault);
    },
    seconds: 90,
};
