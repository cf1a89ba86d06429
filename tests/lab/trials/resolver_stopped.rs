//! The router's resolver is not running: its port refuses.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "dnsstop",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.kill("names");
        let fault = s.began(Side::Site, "name-service");
        s.pause(25.0);
        s.place.names();
        s.ended(fault);
    },
    seconds: 75,
};
