//! The router's resolver can't reach its own and says so.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "dnsfail",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.kill("names");
        s.place.dnsmasq(
            "names",
            "router",
            "--listen-address=192.168.50.1 --bind-interfaces --no-resolv --cache-size=0",
        );
        let fault = s.began(Side::Site, "name-service");
        s.pause(25.0);
        s.place.kill("names");
        s.place.names();
        s.ended(fault);
    },
    seconds: 75,
};
