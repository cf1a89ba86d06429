//! The receiver's program is not running: its port refuses.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "refuse",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.kill("receiver");
        let fault = s.began(Side::Station, "receiver-refusing");
        s.pause(25.0);
        s.place.receiver();
        s.ended(fault);
    },
    seconds: 75,
};
