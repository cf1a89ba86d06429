//! The network lead of the host is pulled and put back.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "lead",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("sw", "link set port0 down");
        let fault = s.began(Side::Site, "own-link");
        s.pause(12.0);
        s.place.ip("sw", "link set port0 up");
        s.ended(fault);
    },
    seconds: 75,
};
