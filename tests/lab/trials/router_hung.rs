//! The router answers nothing any more, for good.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "hung",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("router", "link set lan0 down");
        s.began(Side::Site, "router-silent");
    },
    seconds: 75,
};
