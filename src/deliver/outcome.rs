//! What became of handing a message over.

/// The fate of one message after one try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The server took it: 250 to the final dot, or the file is written.
    Accepted,
    /// Refused for good (5xx for this recipient or message).
    Refused {
        /// The reply, cleaned.
        reply: String,
    },
    /// Refused for now (4xx).
    Later {
        /// The reply, cleaned.
        reply: String,
    },
    /// The connection was lost after the message and before the reply: it may have been taken.
    Unknown {
        /// What happened.
        how: String,
    },
    /// Nothing wrong with the message: the way out itself does not work.
    Site(Site),
}

/// What is wrong with the way out. Each text says what happens now.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Site {
    /// Refused connection, no such host, cut, silence.
    #[error("the mail server {host} cannot be reached ({how}); mail waits and is tried again by itself")]
    Unreachable {
        /// The server.
        host: String,
        /// In which way.
        how: String,
    },
    /// It answers, and refuses us as a whole.
    #[error("the mail server {host} refuses us ({reply}); mail is tried three times and then given up")]
    RefusesUs {
        /// The server.
        host: String,
        /// Its reply, cleaned.
        reply: String,
    },
    /// No protected connection.
    #[error(
        "no protected connection to the mail server {host} ({how}); nothing was sent, neither mail nor password; mail waits"
    )]
    Unprotected {
        /// The server.
        host: String,
        /// In which way.
        how: String,
    },
    /// User name or password are wrong.
    #[error(
        "the mail server {host} does not take user name and password ({reply}); one try in 30 min, check the password file"
    )]
    Login {
        /// The server.
        host: String,
        /// Its reply, cleaned.
        reply: String,
    },
    /// Our own side: password file, certificate file, output folder.
    #[error("{0}")]
    Own(String),
}

/// Text from outside, fit for a terminal and for one line: no control signs, at most 120 letters.
pub(super) fn cleaned(text: &str) -> String {
    let is_fit = |sign: &char| {
        !sign.is_control()
            && !matches!(sign, '\u{2028}' | '\u{2029}' | '\u{200e}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .chars()
        .filter(is_fit)
        .take(120)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_servers_reply_cannot_forge_a_line_or_steer_a_terminal() {
        assert_eq!(cleaned("ok\u{1b}[2J\nERROR fake\u{9b}\u{202e}"), "ok[2J ERROR fake");
        assert_eq!(cleaned(&"x".repeat(500)).len(), 120);
    }
}
