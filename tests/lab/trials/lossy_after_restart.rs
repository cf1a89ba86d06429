//! Compound: the router restarts and the line loses packets when it is back.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c8",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.ip("router", "link set lan0 down");
        let router = s.began(Side::Site, "router-restart");
        s.pause(20.0);
        s.place.ip("router", "link set lan0 up");
        s.place.ip("router", "route replace default via 100.64.50.1");
        s.ended(router);
        s.place.drop_arriving("net", "cut", "iifname far0 numgen random mod 10 < 4");
        let line = s.began(Side::Provider, "loss-burst");
        s.edges(
            line,
            Edges::Hidden("it begins while the router comes back, and chance decides when enough is lost in a row"),
        );
        s.edges(router, Edges::Hidden("the losses begin while its end is being seen"));
        s.pause(25.0);
        s.place.let_pass("net", "cut");
        s.ended(line);
    },
    seconds: 95,
};
