//! The router restarts three times in a row, as one that overheats.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "often",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        for _ in 0..3 {
            s.place.ip("router", "link set lan0 down");
            let fault = s.began(Side::Site, "router-restart");
            s.pause(9.0);
            s.place.ip("router", "link set lan0 up");
            s.place.ip("router", "route replace default via 100.64.50.1");
            s.ended(fault);
            s.pause(14.0);
        }
    },
    seconds: 105,
};
