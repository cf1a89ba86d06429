//! The host loses its default route.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "noroute",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("host", "route del default");
        let fault = s.began(Side::Site, "route-lost");
        s.pause(20.0);
        s.place.ip("host", "route add default via 192.168.50.1");
        s.ended(fault);
    },
    seconds: 75,
};
