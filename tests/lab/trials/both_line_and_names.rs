//! Compound: the resolver stops while the line is cut; it is only seen once the line is back.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c1",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0");
        let line = s.began(Side::Provider, "access-line");
        s.pause(10.0);
        s.place.kill("names");
        s.pause(12.0);
        s.place.let_pass("net", "cut");
        s.ended(line);
        let names = s.began(Side::Site, "name-service");
        s.edges(names, Edges::Hidden("the cut line hides its beginning, and it does not end"));
    },
    seconds: 80,
};
