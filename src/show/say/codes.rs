//! Event codes of the open standards in our own words, for comparison with a station's log. Nothing here is ever sent.
//!
//! Numbers and letter pairs: SIA DC-05 (Contact ID) and SIA DC-03, as carried by an open-source receiver library under
//! the MIT licence; the standards themselves were not at hand, so every row counts as second-hand.

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Code {
    /// What it means.
    pub meaning: &'static str,
    /// Contact ID event.
    pub contact_id: &'static str,
    /// DC-03 letters, new and restored.
    pub letters: &'static str,
}

const fn code(meaning: &'static str, contact_id: &'static str, letters: &'static str) -> Code {
    Code { meaning, contact_id, letters }
}

const HEARTBEAT: Code = code("central polling lost (heartbeat missing)", "356", "YC / YK");
const FAILED: Code = code("failed to communicate", "354", "YC / YK");
const TROUBLE: Code = code("communication trouble", "350", "YC / YK");
const LINE: Code = code("line 1 or 2, often used for path 1 or 2", "351, 352", "LT / LR");
const NETWORK: Code = code("network failure and restoral", "none", "NT / NR");
const TEST: Code = code("periodic test, its absence being the event", "602", "RP; not received: XX");
const MAINS: Code = code("mains lost at the panel", "301", "AT / AR");
const BATTERY: Code = code("panel battery low", "302", "YT / YR");
const RESET: Code = code("system reset", "305", "YW / YZ");
const CLOCK: Code = code("time or date changed", "625", "JT");

/// Codes a station may have seen with a cause.
pub fn codes(cause: &str) -> Vec<Code> {
    match cause {
        "site-power" | "street-power" | "dead-backup" => vec![MAINS, BATTERY, HEARTBEAT, FAILED, NETWORK, TEST],
        "mains-lost" => vec![MAINS],
        "agent-pulled" | "host-restart" | "agent-stopped" => Vec::new(),
        "clock-offset" => vec![CLOCK],
        "router-power" | "router-restart" | "router-timer" | "router-hangs" => vec![HEARTBEAT, FAILED, NETWORK, TEST],
        "communicator-absent" => vec![HEARTBEAT, RESET, FAILED, TEST],
        "loss-burst" | "lan-loss" | "busy-hours" | "congestion" | "receiver-unsteady" | "weak-radio" => {
            vec![TROUBLE, FAILED]
        }
        _ => vec![HEARTBEAT, FAILED, TROUBLE, LINE, NETWORK, TEST],
    }
}
