//! What the kernel says of this host's own power supplies (Linux `Documentation/ABI/testing/sysfs-class-power`).
//!
//! Decides what the attributes of all supplies together say of mains and battery. A supply of scope `Device` (the cell
//! of a mouse) is none of ours. An adapter's own word goes before a battery's, except that a battery can't be charging
//! without one.

use crate::judge::Mains;

/// The attributes read of each supply, by file name.
pub const ATTRIBUTES: [&str; 8] =
    ["type", "scope", "online", "status", "capacity", "capacity_level", "health", "time_to_empty_now"];
/// Most bytes of one attribute.
pub const LONGEST: usize = 64;
/// Most supplies looked at.
pub const MOST: usize = 16;

/// The attributes of one supply, in the order of [`ATTRIBUTES`]; empty where the kernel has none.
pub type Supply = [String; ATTRIBUTES.len()];

/// All supplies together; `None` where no supply of this host says anything of mains or battery.
pub fn mains(supplies: &[Supply]) -> Option<Mains> {
    let of_host = supplies.iter().take(MOST).filter(|s| s[1].trim() != "Device");
    let (mut adapters, mut batteries) = (Vec::new(), Vec::new());
    for supply in of_host {
        let [kind, _, online, status, capacity, level, health, left] = supply.each_ref().map(|a| a.trim());
        match kind {
            // "USB" covers a board fed through its port; a port that feeds nothing is simply not online.
            "Mains" | "USB" | "Wireless" => adapters.extend(online.parse::<u8>().ok().map(|n| n > 0)),
            "Battery" | "UPS" => batteries.push(Battery { status, capacity, level, health, left }),
            _ => {}
        }
    }
    if adapters.is_empty() && batteries.is_empty() {
        return None;
    }
    let any = |status| batteries.iter().any(|b| b.status == status);
    let present = if adapters.contains(&true) || any("Charging") {
        Some(true)
    } else if !adapters.is_empty() || any("Discharging") {
        Some(false)
    } else if any("Full") || any("Not charging") {
        Some(true)
    } else {
        None
    };
    let charges: Vec<u32> = batteries.iter().filter_map(|b| b.capacity.parse().ok()).filter(|c| *c <= 100).collect();
    let count = u32::try_from(charges.len()).unwrap_or(u32::MAX);
    let charge = charges.iter().sum::<u32>().checked_div(count).and_then(|c| u8::try_from(c).ok());
    let left: Vec<u32> = batteries.iter().filter_map(|b| b.left.parse().ok()).collect();
    Some(Mains {
        present,
        charge_percent: charge,
        runtime_s: (present == Some(false) && !left.is_empty())
            .then(|| left.iter().fold(0, |sum: u32, s| sum.saturating_add(*s))),
        battery_low: batteries.iter().any(|b| matches!(b.level, "Low" | "Critical")),
        battery_bad: batteries.iter().any(|b| b.health == "Dead"),
    })
}

struct Battery<'s> {
    status: &'s str,
    capacity: &'s str,
    level: &'s str,
    health: &'s str,
    left: &'s str,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn supply(kind: &str, set: &[(&str, &str)]) -> Supply {
        ATTRIBUTES.map(|a| {
            let value = if a == "type" { kind } else { set.iter().find(|(k, _)| *k == a).map_or("", |(_, v)| *v) };
            if value.is_empty() { String::new() } else { format!("{value}\n") }
        })
    }

    fn present(supplies: &[Supply]) -> Option<bool> {
        mains(supplies).expect("there is a supply").present
    }

    #[test]
    fn a_laptop_on_and_off_its_adapter() {
        let battery = |status, left| {
            supply(
                "Battery",
                &[("status", status), ("capacity", "64"), ("time_to_empty_now", left), ("health", "Good")],
            )
        };
        let on = mains(&[supply("Mains", &[("online", "1")]), battery("Charging", "")]).expect("supplies");
        assert_eq!((on.present, on.charge_percent, on.runtime_s), (Some(true), Some(64), None));
        let off = mains(&[supply("Mains", &[("online", "0")]), battery("Discharging", "5400")]).expect("supplies");
        assert_eq!((off.present, off.charge_percent, off.runtime_s), (Some(false), Some(64), Some(5_400)));
        assert!(!off.battery_low && !off.battery_bad);
    }

    #[test]
    fn one_adapter_of_several_is_enough_and_ports_that_feed_nothing_do_not_count() {
        let port = |online| supply("USB", &[("online", online)]);
        assert_eq!(present(&[port("0"), port("0"), port("1")]), Some(true));
        assert_eq!(present(&[port("0"), supply("Battery", &[("status", "Charging")])]), Some(true));
        assert_eq!(present(&[port("0"), supply("Battery", &[("status", "Not charging")])]), Some(false));
    }

    #[test]
    fn a_battery_alone_tells_what_it_can() {
        let alone = |status| present(&[supply("Battery", &[("status", status)])]);
        for (status, meant) in [
            ("Discharging", Some(false)),
            ("Full", Some(true)),
            ("Not charging", Some(true)),
            ("Charging", Some(true)),
            ("Unknown", None),
            ("", None),
        ] {
            assert_eq!(alone(status), meant, "{status}");
        }
        let worn = supply("UPS", &[("health", "Dead"), ("capacity_level", "Critical"), ("capacity", "250")]);
        let worn = mains(&[worn]).expect("a supply");
        assert!(worn.battery_low && worn.battery_bad && worn.charge_percent.is_none());
    }

    #[test]
    fn a_mouse_is_no_supply_and_nothing_is_none() {
        let mouse = supply("Battery", &[("scope", "Device"), ("status", "Discharging")]);
        assert_eq!(mains(std::slice::from_ref(&mouse)), None);
        assert_eq!(mains(&[]), None);
        assert_eq!(mains(&[supply("Unknown", &[])]), None);
        assert_eq!(present(&[mouse, supply("Mains", &[("online", "1")])]), Some(true));
    }
}
