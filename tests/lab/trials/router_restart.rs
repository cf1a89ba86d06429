//! The router goes away with its ports and is back after half a minute.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "restart",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("router", "link set lan0 down");
        let fault = s.began(Side::Site, "router-restart");
        s.pause(30.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.ended(fault);
    },
    seconds: 90,
};
