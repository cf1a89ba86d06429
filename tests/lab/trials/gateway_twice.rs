//! Another box takes the gateway's address.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "twogw",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("stray", "addr add 192.168.50.1/24 dev eth0");
        let fault = s.began(Side::Site, "gateway-twice");
        s.edges(fault, Edges::Waived("the second answers are counted over several turns before they are a trouble"));
        s.pause(30.0);
        s.place.ip("stray", "addr del 192.168.50.1/24 dev eth0");
        s.ended(fault);
    },
    seconds: 90,
};
