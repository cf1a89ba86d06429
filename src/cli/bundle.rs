//! `pathproof bundle RECORD`: one file for support.
//!
//! Decides what goes in: a copy of the record, the site file, the report as page and as JSON, and what made them, with the
//! SHA-256 of each. What works like a key is taken out of both the site file and the plan the record keeps. The file is a
//! plain archive (ustar, POSIX.1-1988), so that anybody can look into it.

use super::archive::{RECORD, append, hex, sha256_of};
use super::exit::{self, CommandError};
use super::options::BundleOptions;
use super::{replay, site_file};
use crate::record;
use crate::show::{escape::terminal, json};
use crate::snapshot;
use jiff::tz::TimeZone;
use ring::digest::{SHA256, digest};
use std::fs::File;
use std::io::Write;
use std::path::Path;

/// The members, in their order.
const SITE: &str = "site.toml";
const PAGE: &str = "report.html";
const JSON: &str = "report.json";
const ABOUT: &str = "about.json";

/// Keys of the site file that work like keys of a house: section and name.
const SECRETS: [(&str, &str); 3] =
    [("power", "snmp_community"), ("panel", "communicator_serial"), ("panel", "activation")];

/// What stands in the place of a secret.
const REMOVED: &str = "removed";

/// Makes the bundle and says what is in it.
pub(super) fn run(o: &BundleOptions, out: &mut dyn Write) -> Result<i32, CommandError> {
    for line in make(o)? {
        writeln!(out, "{}", terminal(&line))?;
    }
    out.flush()?;
    Ok(exit::IP_ALONE)
}

fn make(o: &BundleOptions) -> Result<Vec<String>, CommandError> {
    let io = |what: &str, e: &dyn std::fmt::Display| CommandError::Io(format!("{what}: {e}"));
    let out = o.out.display().to_string();
    let dir = tempfile::tempdir().map_err(|e| io("no place for the copy", &e))?;
    let copy = dir.path().join(RECORD);
    let site = match &o.site {
        Some(path) => {
            // It must be sound: a bundle of a file that means something else helps nobody.
            let file = site_file::load(path)?;
            let text = std::fs::read_to_string(path).map_err(|e| io(&path.display().to_string(), &e))?;
            let text =
                without_secrets(&text).map_err(|e| CommandError::BadSiteFile(format!("{}: {e}", path.display())))?;
            Some((file, text))
        }
        None => None,
    };
    record::copy(&o.record, &copy, plan_without_secrets)?;
    let (judge, about, _) = replay::replay(&copy)?;
    if let Some((file, _)) = &site {
        replay::same_site(file, &about)?;
    }
    let snapshot = snapshot::take(&judge, &about.header());
    let page = crate::show::report::to_html(&snapshot, &TimeZone::system());
    let mut members: Vec<(&str, Vec<u8>)> =
        vec![(PAGE, page.into_bytes()), (JSON, json::to_json(&snapshot).into_bytes())];
    members.extend(site.map(|(_, text)| (SITE, text.into_bytes())));
    let sum = |bytes: &[u8]| hex(digest(&SHA256, bytes).as_ref());
    let mut sums: serde_json::Map<String, serde_json::Value> =
        members.iter().map(|(name, bytes)| ((*name).to_owned(), sum(bytes).into())).collect();
    sums.insert(RECORD.into(), sha256_of(&copy).map_err(|e| io(RECORD, &e))?.into());
    let said = serde_json::json!({
        "bundle": 1,
        "made": jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
        "made_by": concat!("pathproof ", env!("CARGO_PKG_VERSION")),
        "record_made_by": about.version,
        "site": snapshot.site,
        "verdict": snapshot.verdict().kind,
        "sha256": sums,
        "secrets_removed": SECRETS.map(|(section, key)| format!("[{section}] {key}")),
    });
    let said = serde_json::to_vec_pretty(&said).map_err(|e| io(ABOUT, &e))?;
    members.insert(0, (ABOUT, said));

    // Never over a file that is there, and never half of one under the name asked for.
    let part =
        tempfile::NamedTempFile::new_in(o.out.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")))
            .map_err(|e| io(&out, &e))?;
    let mut tar = tar::Builder::new(part.as_file());
    let written =
        members.iter().try_for_each(|(name, bytes)| append(&mut tar, name, bytes.len() as u64, bytes.as_slice()));
    let written = written.and_then(|()| {
        let file = File::open(&copy)?;
        let length = file.metadata()?.len();
        append(&mut tar, RECORD, length, file)
    });
    written.and_then(|()| tar.finish()).map_err(|e| io(&out, &e))?;
    drop(tar);
    part.persist_noclobber(&o.out).map_err(|e| io(&out, &e.error))?;
    let names: Vec<&str> = members.iter().map(|m| m.0).chain([RECORD]).collect();
    Ok(vec![format!("{out}: {}.", names.join(", ")), "What works like a key is left out of the site file and of the record's plan. Addresses of the site's network stay in the record.".into()])
}

/// The site file without its secrets, and without its comments, which may say anything.
fn without_secrets(text: &str) -> Result<String, String> {
    let mut table: toml::Table = text.parse().map_err(|e: toml::de::Error| e.message().to_owned())?;
    for (section, key) in SECRETS {
        if let Some(toml::Value::Table(t)) = table.get_mut(section) {
            t.remove(key);
        }
    }
    toml::to_string(&table).map_err(|e| e.to_string())
}

/// What a record says of itself, without the words that work like keys. Of [`SECRETS`] a plan holds only this one.
fn plan_without_secrets(about: &str) -> Result<String, String> {
    let mut v: serde_json::Value = serde_json::from_str(about).map_err(|e| e.to_string())?;
    if let Some(community) = v.pointer_mut("/plan/signs/snmp/community") {
        *community = REMOVED.into();
    }
    serde_json::to_string(&v).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_secret_is_a_key_of_the_site_file_and_none_is_left() {
        let mut text = String::from("[site]\nid = \"s-1\" # hush\n");
        for (section, key) in SECRETS {
            assert!(crate::site::keys::section(section).is_some_and(|s| s.key(key).is_some()), "{section}.{key}");
            for part in ["[", section, "]\n", key, " = \"hush\" # hush\n"] {
                text.push_str(part);
            }
        }
        // A section can be opened once only.
        let text = text.replace("[panel]\nactivation", "activation");
        let left = without_secrets(&text).expect("parses");
        assert!(left.contains("s-1") && !left.contains("hush"), "{left}");
    }
}
