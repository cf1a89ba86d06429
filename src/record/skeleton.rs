//! A detail as JSON, taken apart into a skeleton and the whole numbers in it, so that what counts up or down from one
//! answer to the next costs a byte. Knows nothing of what the detail says: any new one is kept as well.
//!
//! In a skeleton each number taken out is a `#` outside of strings, where JSON (RFC 8259) has none.

/// The mark of a number taken out.
const MARK: u8 = b'#';

/// Takes the numbers out of JSON text. What would not print again as it stands (fractions, powers, numbers beyond an
/// `i64`) stays in the skeleton.
pub(super) fn split(json: &str) -> (String, Vec<i64>) {
    let (mut skeleton, mut numbers) = (String::with_capacity(json.len()), Vec::new());
    let bytes = json.as_bytes();
    let (mut at, mut kept, mut string) = (0, 0, false);
    while let Some(b) = bytes.get(at) {
        match b {
            b'"' => string = !string,
            b'\\' if string => at += 1,
            b'-' | b'0'..=b'9' if !string => {
                let number = |b: &u8| matches!(b, b'-' | b'+' | b'.' | b'e' | b'E' | b'0'..=b'9');
                let end = at + bytes[at..].iter().take_while(|b| number(b)).count();
                let text = &json[at..end];
                if let Ok(n) = text.parse::<i64>()
                    && n.to_string() == text
                {
                    skeleton.push_str(&json[kept..at]);
                    skeleton.push(char::from(MARK));
                    numbers.push(n);
                    kept = end;
                }
                at = end;
                continue;
            }
            _ => {}
        }
        at += 1;
    }
    skeleton.push_str(&json[kept..]);
    (skeleton, numbers)
}

/// How many numbers a skeleton asks for.
pub(super) fn places(skeleton: &str) -> usize {
    let mut n = 0;
    walk(skeleton, |_| n += 1);
    n
}

/// Puts the numbers back; those that are missing become 0, those left over are not used.
pub(super) fn join(skeleton: &str, numbers: &[i64]) -> String {
    let mut out = String::with_capacity(skeleton.len() + 8 * numbers.len());
    let (mut kept, mut n) = (0, 0);
    walk(skeleton, |at| {
        out.push_str(&skeleton[kept..at]);
        out.push_str(&numbers.get(n).copied().unwrap_or(0).to_string());
        (kept, n) = (at + 1, n + 1);
    });
    out.push_str(&skeleton[kept..]);
    out
}

fn walk(skeleton: &str, mut mark: impl FnMut(usize)) {
    let (mut string, mut escaped) = (false, false);
    for (at, b) in skeleton.bytes().enumerate() {
        match b {
            _ if escaped => escaped = false,
            b'\\' if string => escaped = true,
            b'"' => string = !string,
            MARK if !string => mark(at),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn whole_numbers_are_taken_out_and_the_rest_stays() {
        let json = r#"{"a":12,"b":[-3,0.5,1e3,-0],"c":"7 # \" 8","d":null,"e":99999999999999999999}"#;
        let (skeleton, numbers) = split(json);
        assert_eq!(numbers, [12, -3]);
        assert_eq!(skeleton, r#"{"a":#,"b":[#,0.5,1e3,-0],"c":"7 # \" 8","d":null,"e":99999999999999999999}"#);
        assert_eq!(places(&skeleton), 2);
        assert_eq!(join(&skeleton, &numbers), json);
        assert!(split("\"words 12\"").1.is_empty());
    }

    proptest! {
        #[test]
        fn any_json_joins_again(text in ".{0,20}", n in any::<i64>(), f in any::<f64>(), u in any::<u64>()) {
            let json = serde_json::json!({ "t": text, text.clone(): [n, f, u], "s": [[n], null, true] }).to_string();
            let (skeleton, numbers) = split(&json);
            prop_assert_eq!(places(&skeleton), numbers.len());
            prop_assert_eq!(join(&skeleton, &numbers), json);
        }

        #[test]
        fn nothing_makes_it_fall(text in ".{0,60}") {
            let (skeleton, numbers) = split(&text);
            let _ = (places(&skeleton), join(&skeleton, &numbers));
        }
    }
}
