//! Questions to the router's resolver vanish.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "dnsmute",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("router", "cut", "ip daddr 192.168.50.1 udp dport 53");
        let fault = s.began(Side::Site, "name-service");
        s.pause(25.0);
        s.place.let_pass("router", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
