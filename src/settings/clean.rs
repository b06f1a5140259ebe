//! Outside text made harmless before it is drawn: no control characters, no secrets.

/// Whether a character may stand in a name, an address or on a terminal.
pub(super) fn is_plain(sign: char) -> bool {
    !sign.is_control() && !matches!(sign, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Outside text with every sign that could move a cursor, break a line or turn the reading direction replaced.
pub fn clean(text: &str) -> String {
    text.chars()
        .map(|sign| if is_plain(sign) { sign } else { '?' })
        .collect()
}

/// As [`clean`], but line feeds stay and the length in bytes is kept, so that places in it stay right. What
/// looks like a password or key is starred, on neighbouring lines too.
pub(super) fn clean_source(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let (open, secret) = line.split_at(secret_from(line).unwrap_or(line.len()));
        clean_part(open, &mut out);
        out.extend(secret.bytes().map(|byte| if byte == b'\n' { '\n' } else { '*' }));
    }
    out
}

/// Where a secret begins in a line, if one may.
fn secret_from(line: &str) -> Option<usize> {
    let (key, value) = line.split_once('=')?;
    let name = key.trim().to_lowercase();
    let names_one = ["password", "passwd", "secret", "token", "key"]
        .iter()
        .any(|word| name.contains(word));
    if names_one && !name.ends_with("_file") {
        return Some(key.len() + 1);
    }
    // A user in an address, or the query behind it.
    let address = value.find("://").map(|at| key.len() + 1 + at + 3)?;
    let rest = line.get(address..)?;
    if rest.contains('@') {
        Some(address)
    } else {
        rest.find('?').map(|at| address + at)
    }
}

fn clean_part(text: &str, out: &mut String) {
    for sign in text.chars() {
        match sign {
            '\n' => out.push('\n'),
            '\r' | '\t' => out.push(' '),
            sign if is_plain(sign) => out.push(sign),
            sign => out.push_str(match sign.len_utf8() {
                1 => "?",
                2 => "\u{bf}",
                _ => "\u{fffd}",
            }),
        }
    }
}
