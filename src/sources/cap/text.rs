//! Text of issuers, cleaned at the door: one line, printable signs, and no longer than is read.

/// Longest name of an event, an area or an issuer.
pub(super) const NAME: usize = 160;
/// Longest headline.
pub(super) const HEADLINE: usize = 300;
/// Longest description or instruction.
pub(super) const LONG: usize = 4000;

/// A text as one line: blanks and line ends joined, signs that are not seen or turn the line about taken out.
pub(super) fn clean(text: &str, most: usize) -> String {
    let mut line = String::new();
    let mut count = 0;
    let mut blank = false;
    for sign in text.chars() {
        if sign.is_whitespace() || sign.is_control() || is_hidden(sign) {
            blank = count > 0;
            continue;
        }
        if count + usize::from(blank) >= most {
            break;
        }
        if blank {
            line.push(' ');
            count += 1;
            blank = false;
        }
        line.push(sign);
        count += 1;
    }
    line
}

/// Signs without width, marks that turn the direction, private ones and tags.
fn is_hidden(sign: char) -> bool {
    matches!(sign,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{e000}'..='\u{f8ff}' | '\u{feff}' | '\u{fff0}'..='\u{fffb}'
        | '\u{e0000}'..='\u{10ffff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hostile_text_becomes_one_plain_line() {
        assert_eq!(
            clean("ok\u{1b}[2J\r\nERROR \u{202e}fake\u{2028}\0 \u{9b}end ", 100),
            "ok [2J ERROR fake end"
        );
        assert_eq!(clean("abc def", 4), "abc");
        assert_eq!(clean("", 4), "");
    }
}
