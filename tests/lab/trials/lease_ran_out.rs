//! The address server dies; the lease is not renewed and runs out.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "leaseout",
    site: "",
    prepare: |p| {
        p.kill("addresses");
        p.kea(30);
        p.lease_client();
    },
    play: |s| {
        s.wait_for_start();
        s.place.kill("kea");
        let late = s.began(Side::Site, "lease-lost");
        s.place.until_address(false);
        s.edges(late, Edges::Hidden("it begins with the server and is felt when the lease has run out"));
        s.pause(15.0);
        s.place.kea(600);
        s.place.until_address(true);
        s.ended(late);
    },
    seconds: 110,
};
