//! The access line goes silent for half a minute: nothing comes back from beyond the router, which stays there.

use crate::lateness::fairly;
use crate::place::Place;

#[test]
fn a_silent_access_line_is_named_with_its_edges() {
    fairly("a_silent_access_line_is_named_with_its_edges", || {
        let mut p = Place::new("cut");
        p.site_file("");
        let running = p.begin(120, &[]);
        running.until(40.0);
        p.nft("net", "add table ip cut\nadd chain ip cut in { type filter hook prerouting priority -300; }\nadd rule ip cut in iifname far0 drop");
        let from = running.now();
        running.until(70.0);
        p.nft("net", "delete table ip cut");
        let to = running.now();
        let said = p.end(running);
        said.only("access-line", from, Some(to));
        assert_eq!(said.troubles()[0]["outage"], true);
        assert_eq!(said.troubles()[0]["who"], "provider");
        // Half a minute is within what a communicator's retries bridge: not enough to sell anything, nor to be sure.
        // Odds over lines of all kinds, not the evidence alone: one outage is one event.
        assert_eq!((said.verdict(), said.code), ("add-cellular", 11));
        assert_eq!(said.json["verdict"]["basis"], "likely");
        said.same_when_judged_again();
    });
}

#[test]
fn a_line_that_stays_away_argues_for_a_second_path() {
    fairly("a_line_that_stays_away_argues_for_a_second_path", || {
        let mut p = Place::new("gone");
        p.site_file("");
        let running = p.begin(120, &[]);
        running.until(30.0);
        p.ip("net", "link set far0 down");
        let from = running.now();
        let said = p.end(running);
        said.only("access-line", from, None);
        assert!(said.troubles()[0]["end_s"].is_null());
        assert_eq!((said.verdict(), said.code), ("add-cellular", 11));
    });
}
