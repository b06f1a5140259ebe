//! The message of one recipient, built once; names come from content, never from the clock or from chance.

use std::time::SystemTime;

use chrono::{DateTime, NaiveDate, Utc};
use lettre::Message;
use lettre::message::header::{ContentDisposition, ContentTransferEncoding, ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Body, Mailbox, MultiPart, SinglePart};
use sha2::{Digest, Sha256};

use crate::store::Parcel;

/// Longest subject, in letters. Subjects of letters have at most 60; this only guards the line limit of mail.
const SUBJECT_LIMIT: usize = 120;

/// A letter for one recipient, before it becomes a message.
#[derive(Debug, Clone, PartialEq)]
pub struct Mail {
    /// Farm: lower-case letters, digits, hyphens.
    pub farm: String,
    /// What kind of letter ("morning").
    pub kind: &'static str,
    /// Local date it is for.
    pub date: NaiveDate,
    /// 0 for the first of that date, 1 for the one that corrects it.
    pub revision: u32,
    /// Name of the recipient, as in the farm file.
    pub name: String,
    /// Their address.
    pub address: String,
    /// Subject.
    pub subject: String,
    /// Text part.
    pub text: String,
    /// HTML part.
    pub html: String,
    /// The chart that the HTML shows, if one could be drawn.
    pub pictures: Vec<Picture>,
    /// Calendar of the recommended windows.
    pub calendar: Option<String>,
    /// When the letter was issued; the date of the message.
    pub issued: DateTime<Utc>,
}

/// A PNG shown inside the HTML.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// What the HTML calls it after `cid:`.
    pub content_id: String,
    /// Name of the file if a reader keeps it, such as "chart.png".
    pub name: String,
    /// The bytes of the PNG.
    pub png: Vec<u8>,
}

impl Picture {
    /// Out of its Content-ID, file name and bytes.
    pub fn of((content_id, name, png): (&str, &str, &[u8])) -> Self {
        Self {
            content_id: content_id.to_owned(),
            name: name.to_owned(),
            png: png.to_vec(),
        }
    }
}

/// Why no message could be built. It never holds the text that was wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MailFault {
    /// The sender does not read as an address.
    #[error("the sender in the service file is not of the form `Name <address>`; no mail was built")]
    Sender,
    /// The recipient does not.
    #[error("a recipient in the farm file has no valid name or mail address; this one gets no mail, the others do")]
    Recipient,
    /// A part was refused by the mail library.
    #[error("a part of the letter cannot be put into mail; this one gets no mail, the others do")]
    Part,
}

impl Mail {
    /// Key of the message: farm, kind, date, revision, and the recipient as a hash.
    pub fn key(&self) -> String {
        let mut hash = Sha256::new();
        for part in [
            &self.farm,
            self.kind,
            &self.date.to_string(),
            &self.revision.to_string(),
            &self.address,
        ] {
            // Each part with its length, so that no two lists of parts read the same.
            hash.update(part.len().to_be_bytes());
            hash.update(part.as_bytes());
        }
        let tail: String = hash
            .finalize()
            .iter()
            .take(8)
            .map(|byte| format!("{byte:02x}"))
            .collect();
        format!("{}-{}-{}-r{}-{tail}", self.date, self.farm, self.kind, self.revision)
    }

    /// Builds the message. The same letter gives the same bytes.
    pub fn parcel(&self, from: &str) -> Result<Parcel, MailFault> {
        let from: Mailbox = from.parse().ok().filter(is_clean).ok_or(MailFault::Sender)?;
        let address = self.address.parse().map_err(|_| MailFault::Recipient)?;
        let name = Some(self.name.trim().to_owned()).filter(|name| !name.is_empty());
        let to = Some(Mailbox::new(name, address))
            .filter(is_clean)
            .ok_or(MailFault::Recipient)?;
        let (key, domain) = (self.key(), from.email.domain().to_owned());
        let message = Message::builder()
            .from(from)
            .to(to)
            .subject(subject(&self.subject))
            .date(SystemTime::from(self.issued))
            .message_id(Some(format!("<{key}@{domain}>")))
            .raw_header(HeaderValue::new(
                HeaderName::new_from_ascii_str("Auto-Submitted"),
                "auto-generated".to_owned(),
            ))
            .multipart(self.parts(&key)?)
            .map_err(|_| MailFault::Part)?;
        Ok(Parcel {
            recipient: self.address.clone(),
            message: message.formatted(),
            key,
        })
    }

    fn parts(&self, key: &str) -> Result<MultiPart, MailFault> {
        let boundary = |place: &str| format!("part-{place}-{}", key.rsplit('-').next().unwrap_or(key));
        let html = SinglePart::builder()
            .header(ContentType::TEXT_HTML)
            .body(quoted(&self.html)?);
        let mut related = MultiPart::related().boundary(boundary("html")).singlepart(html);
        for picture in &self.pictures {
            let png = ContentType::parse("image/png").map_err(|_| MailFault::Part)?;
            let attached = Attachment::new_inline_with_name(picture.content_id.clone(), picture.name.clone());
            related = related.singlepart(attached.body(picture.png.clone(), png));
        }
        let alternative = MultiPart::alternative()
            .boundary(boundary("words"))
            .singlepart(
                SinglePart::builder()
                    .header(ContentType::TEXT_PLAIN)
                    .body(quoted(&self.text)?),
            )
            .multipart(related);
        let mut mixed = MultiPart::mixed().boundary(boundary("all")).multipart(alternative);
        if let Some(calendar) = &self.calendar {
            let kind =
                ContentType::parse("text/calendar; charset=utf-8; method=PUBLISH").map_err(|_| MailFault::Part)?;
            let head = SinglePart::builder()
                .header(kind)
                .header(ContentDisposition::attachment("covercast.ics"));
            mixed = mixed.singlepart(head.body(quoted(calendar)?));
        }
        Ok(mixed)
    }
}

/// Quoted-printable always: 7 bit, short lines, and no line that a server could take for the end.
fn quoted(text: &str) -> Result<Body, MailFault> {
    let lines = text
        .replace("\r\n", "\n")
        .replace(['\r', '\u{2028}', '\u{2029}'], "\n")
        .replace('\n', "\r\n");
    Body::new_with_encoding(lines, ContentTransferEncoding::QuotedPrintable).map_err(|_| MailFault::Part)
}

/// The library panics on a display name with a line end.
fn is_clean(mailbox: &Mailbox) -> bool {
    !mailbox.name.iter().flat_map(|name| name.chars()).any(is_unfit)
}

fn is_unfit(sign: char) -> bool {
    sign.is_control() || matches!(sign, '\u{2028}' | '\u{2029}')
}

fn subject(text: &str) -> String {
    text.chars()
        .map(|sign| if is_unfit(sign) { ' ' } else { sign })
        .take(SUBJECT_LIMIT)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mail() -> Mail {
        Mail {
            farm: "larkrise".to_owned(),
            kind: "morning",
            date: "2026-03-10".parse().unwrap(),
            revision: 0,
            name: "Tama Reyes".to_owned(),
            address: "tama@farm.example".to_owned(),
            subject: "GO 13:30: lift Creek 1-12 | Tue 10 Mar".to_owned(),
            text: "Lift Creek – 8 °C\n.\nFrom here on\r.\r\nend".to_owned(),
            html: "<p>Lift Creek</p><img src=\"cid:chart\">".to_owned(),
            pictures: vec![Picture {
                content_id: "chart".to_owned(),
                name: "chart.png".to_owned(),
                png: vec![0x89; 3000],
            }],
            calendar: Some("BEGIN:VCALENDAR\r\nMETHOD:PUBLISH\r\nEND:VCALENDAR\r\n".to_owned()),
            issued: "2026-03-09T16:30:00Z".parse().unwrap(),
        }
    }

    fn wire(mail: &Mail) -> String {
        String::from_utf8(mail.parcel("Larkrise Orchard <letters@farm.example>").unwrap().message).unwrap()
    }

    #[test]
    fn the_same_letter_is_the_same_message_and_each_recipient_has_their_own() {
        assert_eq!(wire(&mail()), wire(&mail()));
        let other = Mail {
            address: "ana@farm.example".to_owned(),
            ..mail()
        };
        let corrected = Mail { revision: 1, ..mail() };
        assert_ne!(mail().key(), other.key());
        assert_ne!(mail().key(), corrected.key());
        let reworded = Mail {
            subject: "NO".to_owned(),
            ..mail()
        };
        assert_eq!(
            mail().key(),
            reworded.key(),
            "the key is the place of the letter, so a second one is not queued"
        );
    }

    /// RFC 5322 section 2.1.1 (lines), RFC 3834 section 5 (Auto-Submitted), RFC 2387 (related), RFC 6047 (calendar).
    #[test]
    fn the_message_has_its_parts_and_short_seven_bit_lines() {
        let text = wire(&mail());
        for wanted in [
            "Date: Mon, 09 Mar 2026 16:30:00 +0000",
            "Auto-Submitted: auto-generated",
            "Content-Type: multipart/mixed;",
            "Content-Type: multipart/alternative;",
            "Content-Type: multipart/related;",
            "Content-ID: <chart>",
            "method=PUBLISH",
            "filename=\"covercast.ics\"",
        ] {
            assert!(text.contains(wanted), "{wanted} is missing in\n{text}");
        }
        assert!(
            text.contains(&format!("Message-ID: <{}@farm.example>", mail().key())),
            "{text}"
        );
        assert!(text.is_ascii());
        for line in text.split("\r\n") {
            assert!(line.len() <= 78 && !line.contains(['\r', '\n']), "{line:?}");
        }
    }

    #[test]
    fn no_text_adds_a_header_or_an_address() {
        let hostile = Mail {
            subject: format!("x\r\nBcc: all@farm.example {}", "y".repeat(2000)),
            ..mail()
        };
        let text = wire(&hostile);
        let head = text.split("\r\n\r\n").next().unwrap();
        assert!(!head.contains("\r\nBcc:"), "{head}");
        assert!(head.lines().all(|line| line.len() <= 998));
        for name in ["Tama\r\nBcc: x@y.example", "a\rb", "a\0b", "a\u{1b}[2J"] {
            let hostile = Mail {
                name: name.to_owned(),
                ..mail()
            };
            assert_eq!(
                hostile.parcel("letters@farm.example"),
                Err(MailFault::Recipient),
                "{name:?}"
            );
        }
        let hostile = Mail {
            address: "tama@farm.example\r\nBcc: x@y.example".to_owned(),
            ..mail()
        };
        assert_eq!(hostile.parcel("letters@farm.example"), Err(MailFault::Recipient));
        assert_eq!(mail().parcel("nobody"), Err(MailFault::Sender));
    }
}
