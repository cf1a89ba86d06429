//! No capability at all, ping sockets closed: still a verdict, and a list of what was blind and why.

use crate::lateness::fairly;
use crate::place::Place;

#[test]
fn without_any_capability_it_says_what_was_blind_and_still_judges() {
    fairly("without_any_capability_it_says_what_was_blind_and_still_judges", || {
        let mut p = Place::new("nocap");
        p.site_file("");
        let running = p.begin_as_nobody(90);
        running.until(30.0);
        p.nft(
        "net",
        "add table ip cut\nadd chain ip cut in { type filter hook prerouting priority -300; }\nadd rule ip cut in iifname far0 drop",
    );
        let from = running.now();
        running.until(55.0);
        p.nft("net", "delete table ip cut");
        let to = running.now();
        let said = p.end(running);
        said.only("access-line", from, Some(to));
        assert_eq!((said.verdict(), said.code), ("keep-watching", 12));
        let blind = said.json["blind"].as_array().expect("blind");
        for what in ["gateway hardware address", "gateway echo", "address servers that answer", "address conflict"] {
            let entry = blind.iter().find(|b| b["what"] == what).unwrap_or_else(|| panic!("{what} not in {blind:#?}"));
            assert!(entry["why"].as_str().expect("why").contains("not permitted"), "{entry:#}");
            assert!(entry["opens"].as_str().expect("opens").contains("CAP_NET_RAW"), "{entry:#}");
        }
        // What the kernel's neighbour table tells is no more than now and then: it may not be called sure.
        assert!(said.troubles()[0]["confidence"].as_f64().expect("number") < 0.95);
        said.same_when_judged_again();
    });
}
