//! Two minutes with nothing wrong: nothing is invented, nothing is sent to the receiver, the lease is left alone.

use crate::lateness::fairly;
use crate::place::Place;

#[test]
fn nothing_is_invented_and_nothing_is_sent_to_the_receiver() {
    fairly("nothing_is_invented_and_nothing_is_sent_to_the_receiver", || {
        let mut p = Place::new("clean");
        p.site_file("");
        let running = p.begin(120, &[]);
        let said = p.end(running);
        assert_eq!(said.causes(), Vec::<&str>::new(), "{:#}", said.json["troubles"]);
        assert_eq!((said.verdict(), said.code), ("keep-watching", 12));
        // With the kind of line not known, what may turn the choice takes most of a week at least.
        assert!(said.json["verdict"]["needs_s"].as_f64().expect("says how long") > 6.0 * 86_400.0);
        assert!(!said.json["verdict"]["safer_today"].as_str().expect("has one").is_empty());
        for lane in ["link", "address", "router", "names", "outside", "receiver"] {
            let lanes = said.json["lanes"].as_array().expect("lanes");
            let view = lanes.iter().find(|l| l["lane"] == lane).expect("there");
            assert_eq!(view["state"], "good", "{lane}: {view:#}");
        }
        let visits = p.log("receiver");
        assert!(visits.contains("visited") && !visits.contains("RECEIVED"), "{visits}");
        let addresses = p.log("addresses");
        assert!(addresses.contains("DHCPDISCOVER") && !addresses.contains("DHCPREQUEST"), "{addresses}");
        said.same_when_judged_again();
    });
}
