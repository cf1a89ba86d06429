//! Nothing comes back from beyond the router for a while.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "linecut",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0");
        let fault = s.began(Side::Provider, "access-line");
        s.pause(25.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
