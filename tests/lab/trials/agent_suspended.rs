//! The agent is stopped for a while and goes on: a pause in watching, not an outage. No trouble may be told.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "suspend",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        let pid = s.running.child.id();
        crate::place::must(&format!("kill -STOP {pid}"));
        s.pause(15.0);
        crate::place::must(&format!("kill -CONT {pid}"));
    },
    seconds: 70,
};
