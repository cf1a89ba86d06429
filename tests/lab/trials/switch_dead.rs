//! The switch forwards nothing while its ports keep their light.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "switch",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("sw", "link set br0 down");
        let fault = s.began(Side::Site, "lan-segment");
        s.looks_like(fault, &["router-silent", "router-restart"]);
        s.pause(25.0);
        s.place.ip("sw", "link set br0 up");
        s.ended(fault);
    },
    seconds: 75,
};
