//! Each cause for whoever works with it, dealer or installer: a title of few words beside the stable word.
//!
//! Decides words only; the cause is the judge's.

/// The title of a cause by its stable word; the word itself where it is none of the judge's.
pub fn title(cause: &str) -> &str {
    match cause {
        "site-power" => "power cut at the site",
        "street-power" => "power cut in the street",
        "dead-backup" => "backup battery failed",
        "mains-lost" => "mains lost, network held",
        "router-power" => "router without power",
        "agent-pulled" => "watching device unplugged",
        "host-restart" => "watching device restarted",
        "agent-stopped" => "watching program stopped",
        "own-link" => "network lead or port",
        "interface-gone" => "network interface gone",
        "weak-radio" => "weak wireless signal",
        "lan-segment" => "switch or bridge inside",
        "address-lost" => "no network address",
        "lease-lost" => "address lease not renewed",
        "route-lost" => "no route to the router",
        "second-address-server" => "second address server",
        "address-conflict" => "address used twice",
        "ipv4-missing" => "no IPv4",
        "ipv4-translated" => "IPv4 by translation only",
        "communicator-absent" => "communicator absent",
        "router-restart" => "router restarted",
        "router-timer" => "router restarts by the clock",
        "router-hangs" => "router fails at one age",
        "router-swap" => "router exchanged",
        "router-silent" => "router does not answer",
        "lan-loss" => "losses inside the site",
        "gateway-twice" => "two hosts as the router",
        "access-line" => "internet line down",
        "provider-maintenance" => "provider's maintenance",
        "loss-burst" => "losses on the line",
        "busy-hours" => "line poor at busy hours",
        "congestion" => "line congested",
        "portal" => "page in between",
        "references-filtered" => "test questions filtered",
        "target-missing" => "one far end missing",
        "clock-offset" => "watching device's clock off",
        "one-resolver" => "one resolver down",
        "name-service" => "name lookups down",
        "names-unsteady" => "name lookups unsteady",
        "names-rewritten" => "name answers rewritten",
        "one-receiver" => "one receiver down",
        "receiver-unresolved" => "receiver's name not found",
        "receiver-refusing" => "receiver refuses",
        "receiver-resetting" => "receiver drops connections",
        "receiver-silent" => "receiver does not answer",
        "receiver-filtered" => "receiver filtered on the way",
        "receiver-unsteady" => "receiver unsteady",
        "mtu-black-hole" => "large packets lost",
        "idle-timeout" => "quiet connections forgotten",
        other => other,
    }
}

/// Title and stable word.
pub fn named(cause: &str) -> String {
    match title(cause) {
        same if same == cause => cause.to_owned(),
        title => format!("{title} ({cause})"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Cause;
    use std::collections::BTreeSet;

    #[test]
    fn every_cause_of_the_judge_has_a_short_title_of_its_own() {
        let titles: BTreeSet<&str> = Cause::ALL.iter().map(|c| title(c.word())).collect();
        assert_eq!(titles.len(), Cause::ALL.len());
        for c in Cause::ALL {
            let title = title(c.word());
            assert!(title.contains(' ') && title.len() <= 28 && !title.contains('-'), "{title}");
        }
        assert_eq!(named("own-link"), "network lead or port (own-link)");
        assert_eq!(named("of-a-newer-version"), "of-a-newer-version");
    }
}
