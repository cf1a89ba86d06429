//! The router.

use crate::words::{CauseRow, Side};

pub(super) const ROUTER_RESTART: CauseRow = CauseRow {
    title: "router restarted",
    side: Side::Home,
    short: "your router seems to have restarted",
    household: "The router stopped answering {lasted} and came back, as it does when it restarts.",
    trade: "Gateway silent and back within minutes.",
    step: "Ask whether someone restarted it; look for a timer, a switched outlet, heat or a failing power supply.",
    proof: "No restart in a week of watching.",
};

pub(super) const ROUTER_TIMER: CauseRow = CauseRow {
    title: "router restarts by the clock",
    side: Side::Home,
    short: "your router restarts at the same time of day",
    household: "The router restarts at the same time of day; it was away {lasted}.",
    trade: "Gateway gone at one minute of the day on several days: scheduled restart, automatic update, timer or switched outlet.",
    step: "Turn the scheduled restart off in the router, or move it; look for a timer at its outlet.",
    proof: "No restart in a week of watching.",
};

pub(super) const ROUTER_HANGS: CauseRow = CauseRow {
    title: "router fails at one age",
    side: Side::Home,
    short: "your router fails after running for some time",
    household: "The router fails after running for a certain time; it was away {lasted}.",
    trade: "Gateway lost at a constant age since the last loss: memory or heat; not a clock.",
    step: "Update the router's software or replace it.",
    proof: "It outlives that age twice.",
};

pub(super) const ROUTER_SWAP: CauseRow = CauseRow {
    title: "router exchanged",
    side: Side::Home,
    short: "your router was changed for another one",
    household: "The router was changed for another one; the network was away {lasted}.",
    trade: "New gateway hardware address, new subnet or address server at one moment: router or provider swapped.",
    step: "Call the alarm company and ask for a test signal; check the communicator's address if it was set by hand.",
    proof: "A test signal arrives.",
};

pub(super) const ROUTER_SILENT: CauseRow = CauseRow {
    title: "router does not answer",
    side: Side::Home,
    short: "your router did not answer",
    household: "The router does not answer {lasted}, though the network lead is live.",
    trade: "Carrier present, gateway silent: hung, unpowered or replaced.",
    step: "See that the router and every box before it has power; restart it if it has.",
    proof: "The router answers for a day without a gap.",
};

pub(super) const GATEWAY_TWICE: CauseRow = CauseRow {
    title: "two hosts as the router",
    side: Side::Home,
    short: "two devices at home claim to be the router",
    household: "Two devices answer for the router's address.",
    trade: "Two hardware addresses claim the gateway.",
    step: "Find the device that answers for the router's address and take it off.",
    proof: "One answer only, for an hour.",
};
