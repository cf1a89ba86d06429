//! The line beyond the router, and what stands on it.

use crate::words::{CauseRow, Side};

pub(super) const ACCESS_LINE: CauseRow = CauseRow {
    title: "internet line down",
    side: Side::Provider,
    short: "the internet line was down while your router was on",
    household: "Nothing beyond the router answered {lasted}, while the router itself did.",
    trade: "Gateway answering, every outside target lost: modem, line or provider.",
    step: "Report the times to the internet provider; a restart of the router does not mend the line.",
    proof: "No loss of the line over the time the verdict asks for.",
};

pub(super) const PROVIDER_MAINTENANCE: CauseRow = CauseRow {
    title: "provider's maintenance",
    side: Side::Provider,
    short: "the internet was off at the same time of day as before",
    household: "The internet went away at the same time of day as before, {lasted}, while the router stayed.",
    trade: "Gateway answering, outside lost at one minute of the day on several days: provider works, or a modem on a timer.",
    step: "Ask the provider for its maintenance times; tell the station; see that the modem is on no timer.",
    proof: "A week without a loss at that time.",
};

pub(super) const LOSS_BURST: CauseRow = CauseRow {
    title: "losses on the line",
    side: Side::Provider,
    short: "the internet line lost part of the traffic",
    household: "Part of the traffic beyond the router was lost {lasted}.",
    trade: "Loss burst outside, first hop clean.",
    step: "Report the times to the internet provider; check the line's own plug and filter.",
    proof: "No burst in a week.",
};

pub(super) const BUSY_HOURS: CauseRow = CauseRow {
    title: "line poor at busy hours",
    side: Side::Provider,
    short: "the internet is poor in the same hours of the day",
    household: "The internet is slow or loses traffic in the same hours of the day; this time {lasted}.",
    trade: "Loss or delay in the same hours on many days: plant or street congestion.",
    step: "Report the hours to the provider; alarm messages are small and retried, so this alone asks for no second path.",
    proof: "A week without it in those hours.",
};

pub(super) const CONGESTION: CauseRow = CauseRow {
    title: "line congested",
    side: Side::Home,
    short: "something at home filled the internet line",
    household: "The internet answered{figure} slower than usual {lasted}: something fills the line.",
    trade: "Round trips many times the usual with little loss: full queue, most likely the site's own upload.",
    step: "Look for backups and cameras that upload; limit them in the router. Alarm messages are small and get through.",
    proof: "Round trips stay as usual for a day.",
};

pub(super) const PORTAL: CauseRow = CauseRow {
    title: "page in between",
    side: Side::Provider,
    short: "a log-in page or a bill stood in the way",
    household: "Something answers in the internet's place with a page of its own: a log-in, a bill or a block page.",
    trade: "Plain web request redirected or rewritten{figure}: captive portal, walled garden or filter.",
    step: "Log in, pay or have the block lifted; an alarm path must not depend on a page. Never use a guest network.",
    proof: "The page check answers as expected for a day.",
};

pub(super) const REFERENCES_FILTERED: CauseRow = CauseRow {
    title: "test questions filtered",
    side: Side::Home,
    short: "something at home blocks the test questions",
    household: "No reference point answered {lasted}, but the receiver did: something filters them.",
    trade: "All reference points silent, receiver answering: filter on outgoing traffic.",
    step: "Ask who filters outgoing traffic here; name other reference points in the site file.",
    proof: "They answer.",
};

pub(super) const TARGET_MISSING: CauseRow = CauseRow {
    title: "one far end missing",
    side: Side::Provider,
    short: "one of several far ends did not answer",
    household: "{target} stopped answering {lasted} while its neighbours went on.",
    trade: "One target of several lost: that target, or the route to it.",
    step: "Nothing at once; if it stays away, name another target in the site file.",
    proof: "It answers again.",
};
