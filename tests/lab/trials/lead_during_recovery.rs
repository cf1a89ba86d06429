//! Compound: the lead is pulled while the path recovers from a cut of the line.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c4",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0");
        let line = s.began(Side::Provider, "access-line");
        s.pause(15.0);
        s.place.let_pass("net", "cut");
        s.ended(line);
        s.pause(1.0);
        s.place.ip("sw", "link set port0 down");
        let lead = s.began(Side::Site, "own-link");
        s.edges(line, Edges::Hidden("the lead is pulled while its end is being seen"));
        s.pause(8.0);
        s.place.ip("sw", "link set port0 up");
        s.ended(lead);
    },
    seconds: 80,
};
