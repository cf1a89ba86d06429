//! The router's name service dies while the internet is there.

use crate::lateness::fairly;
use crate::place::Place;

#[test]
fn a_dead_resolver_is_no_dead_line() {
    fairly("a_dead_resolver_is_no_dead_line", || {
        let mut p = Place::new("dns");
        p.site_file("");
        let running = p.begin(120, &[]);
        running.until(40.0);
        p.kill("names");
        let from = running.now();
        let said = p.end(running);
        said.only("name-service", from, None);
        assert_eq!(said.troubles()[0]["outage"], false, "the receiver is asked by address");
        assert_eq!((said.verdict(), said.code), ("mend-first", 10));
        said.same_when_judged_again();
    });
}
