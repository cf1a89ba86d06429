//! Compound: the lead is pulled while the router restarts.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c2",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("router", "link set lan0 down");
        let router = s.began(Side::Site, "router-restart");
        s.looks_like(router, &["router-silent"]);
        s.edges(router, Edges::Hidden("the pulled lead hides its end"));
        s.pause(10.0);
        s.place.ip("sw", "link set port0 down");
        let lead = s.began(Side::Site, "own-link");
        s.pause(8.0);
        s.place.ip("sw", "link set port0 up");
        s.ended(lead);
        s.pause(8.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.ended(router);
    },
    seconds: 90,
};
