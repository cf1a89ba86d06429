//! Hardware addresses, written and read.

use serde::{Deserialize, Serialize};

/// A hardware (EUI-48) address.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Mac(pub [u8; 6]);

impl std::fmt::Display for Mac {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [a, b, c, d, e, g] = self.0;
        write!(f, "{a:02x}:{b:02x}:{c:02x}:{d:02x}:{e:02x}:{g:02x}")
    }
}

impl From<Mac> for String {
    fn from(m: Mac) -> Self {
        m.to_string()
    }
}

impl TryFrom<String> for Mac {
    type Error = String;
    fn try_from(s: String) -> Result<Self, String> {
        let mut out = [0u8; 6];
        let mut parts = s.split([':', '-']);
        for byte in &mut out {
            let part = parts.next().filter(|p| p.len() == 2);
            *byte = part
                .and_then(|p| u8::from_str_radix(p, 16).ok())
                .ok_or_else(|| format!("not a hardware address: {s}"))?;
        }
        if parts.next().is_some() { Err(format!("not a hardware address: {s}")) } else { Ok(Self(out)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hardware_addresses_read_back() {
        let m = Mac([2, 0, 0x5e, 0x10, 0xff, 1]);
        assert_eq!(Mac::try_from(m.to_string()), Ok(m));
        for bad in ["", "02:00", "02:00:5e:10:ff:01:02", "2:0:5e:10:ff:1", "zz:00:5e:10:ff:01"] {
            assert!(Mac::try_from(bad.to_owned()).is_err(), "{bad}");
        }
    }
}
