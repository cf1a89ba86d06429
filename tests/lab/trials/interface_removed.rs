//! The interface vanishes and is not seen again.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "noiface",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("host", "link del eth0");
        s.began(Side::Site, "interface-gone");
    },
    seconds: 60,
};
