//! What was entered about a site, for the survey record: from the plan the record keeps, and the site file where it is
//! given again.
//!
//! Decides what counts as personal (addresses of devices) and what works like a key (serial number, activation code).

use crate::judge::Mac;
use crate::show::paper::survey_record::Entered;
use crate::show::say::and;
use crate::show::say::survey::entered as label;
use crate::site::{Access, Host, Plan, SiteFile};
use serde::Serialize;

/// What was entered.
pub(super) fn of(plan: &Plan, site: Option<&SiteFile>) -> Entered {
    let back = site.map_or(&plan.background, |f| &f.background);
    let mut told = vec![
        (label::KIND, word(&plan.kind)),
        (label::ACCESS, if back.access == Access::Unknown { label::NOT_SAID.into() } else { word(&back.access) }),
        (label::USES, and(&plan.uses.iter().map(|u| u.word().to_owned()).collect::<Vec<_>>())),
        (label::SET, plan.requirements.clone()),
        (label::SUPERVISION, plan.supervision.map_or(label::NOT_SAID.into(), |i| i.to_string())),
    ];
    told.retain(|(_, v)| !v.is_empty());
    told.extend(plan.receivers.iter().map(|r| {
        let host = match &r.host {
            Host::Address(a) => a.to_string(),
            Host::Name(n) => n.clone(),
        };
        (label::RECEIVER, format!("{}: {host}, port {}, {}", r.name, r.port, word(&r.transport)))
    }));
    told.extend(plan.resolvers.iter().map(|r| (label::RESOLVER, r.name.to_string())));
    if let Some(tries) = &back.retries {
        told.push((label::RETRIES, and(&tries.iter().map(ToString::to_string).collect::<Vec<_>>())));
    }
    told.extend(back.within.map(|w| (label::WITHIN, w.to_string())));
    told.extend(back.recalled.map(|r| {
        let worst = r.worst.map_or(String::new(), |w| format!(", the worst {w}"));
        (label::RECALLED, format!("{}{worst}", r.last_year))
    }));
    told.extend(back.gear.iter().map(|g| {
        let backup = g.backup.as_ref().map_or(String::new(), |b| format!(" ({b})"));
        (label::BOX, format!("{}, {}, powered by: {}{backup}", g.name, word(&g.kind), word(&g.powered_by)))
    }));
    told.extend(back.backups.iter().map(|b| (label::BACKUP, b.name.clone())));
    let personal = back.panel.communicator_mac.map(|m| (label::MAC, Mac(m).to_string()));
    let activation = site.map(|f| &f.activation);
    let secret = [
        (label::SERIAL, activation.and_then(|a| a.serial.clone())),
        (label::ACTIVATION, activation.and_then(|a| a.code.clone())),
    ];
    let own = |(k, v): (&str, String)| (k.to_owned(), v);
    Entered {
        plain: told.into_iter().map(own).collect(),
        personal: personal.into_iter().map(own).collect(),
        secret: secret.into_iter().filter_map(|(k, v)| Some(own((k, v?)))).collect(),
    }
}

/// A choice of the site file by its own word.
fn word<T: Serialize>(value: &T) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(|s| s.replace('-', " "))).unwrap_or_default()
}
