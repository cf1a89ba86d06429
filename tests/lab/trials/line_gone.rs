//! The line goes dead at the router's outer port and stays so.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "linegone",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("net", "link set far0 down");
        s.began(Side::Provider, "access-line");
    },
    seconds: 75,
};
