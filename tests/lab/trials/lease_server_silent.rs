//! The address server dies and is back before the lease has run out.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "leaselate",
    site: "",
    prepare: |p| {
        p.kill("addresses");
        p.kea(3_600);
        p.lease_client();
    },
    play: |s| {
        s.wait_for_start();
        s.place.kill("kea");
        s.pause(25.0);
        s.place.kea(3_600);
    },
    seconds: 75,
};
