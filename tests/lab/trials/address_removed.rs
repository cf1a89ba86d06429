//! The host loses its address.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "noaddr",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("host", "addr flush dev eth0");
        let fault = s.began(Side::Site, "address-lost");
        s.pause(20.0);
        s.place.ip("host", "addr add 192.168.50.20/24 dev eth0");
        s.place.ip("host", "route add default via 192.168.50.1");
        s.ended(fault);
    },
    seconds: 75,
};
