//! Compound: the resolver stops while the line is cut; it is only seen once the line is back.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "c1",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "iifname far0");
        let line = s.began(&["access-line"]);
        s.pause(10.0);
        s.place.kill("names");
        s.pause(12.0);
        s.place.let_pass("net", "cut");
        s.ended(line);
        let names = s.began(&["name-service"]);
        s.hidden(names);
    },
    seconds: 80,
};
