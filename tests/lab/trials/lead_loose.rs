//! A loose lead: contact lost three times for a second or two.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "loose",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        for _ in 0..3 {
            s.place.ip("sw", "link set port0 down");
            let fault = s.began(Side::Site, "own-link");
            s.pause(1.5);
            s.place.ip("sw", "link set port0 up");
            s.ended(fault);
            s.pause(12.0);
        }
    },
    seconds: 80,
};
