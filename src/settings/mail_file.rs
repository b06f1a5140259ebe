//! The `[mail]` table of `service.toml`.

use std::path::Path;

use super::service_file::{path, secret};
use super::table::Table;
use crate::deliver::{Settings, Smtp, Tls, Transport};

pub(super) const MAIL: &[&str] = &[
    "from",
    "transport",
    "daily_limit",
    "folder",
    "host",
    "port",
    "tls",
    "user",
    "password_file",
    "root_certificate",
];

/// Keys of one transport that say nothing for the other.
const FILES_ONLY: &[&str] = &["folder"];
const SMTP_ONLY: &[&str] = &["host", "port", "tls", "user", "password_file", "root_certificate"];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Smtp,
    Files,
}

pub(super) fn read(table: &Table<'_>, folder: &Path, state: &Path) -> Settings {
    table.knows(MAIL);
    table.needs(&[
        ("from", "from = \"covercast <covercast@example.org>\""),
        ("transport", "transport = \"smtp\""),
    ]);
    let from = table.text("from", 200).unwrap_or_default();
    if !from.is_empty() && from.parse::<lettre::message::Mailbox>().is_err() {
        table.wrong(
            "from",
            "from is no sender",
            &format!("{from}; wanted name@host or Name <name@host>"),
            "",
        );
    }
    let way = table
        .choice("transport", &[("smtp", Way::Smtp), ("files", Way::Files)])
        .unwrap_or(Way::Files);
    if table.find("transport").is_some() {
        for key in if way == Way::Smtp { FILES_ONLY } else { SMTP_ONLY } {
            if table.find(key).is_some() {
                let (this, other) = if way == Way::Smtp {
                    ("smtp", "files")
                } else {
                    ("files", "smtp")
                };
                let at = format!("{key} belongs to transport = \"{other}\"");
                table.wrong(
                    key,
                    "a key without effect",
                    &at,
                    &format!("transport is \"{this}\"; remove {key} or change transport"),
                );
            }
        }
    }
    let transport = match way {
        Way::Files => Transport::Files {
            folder: path(table, "folder", folder).unwrap_or_else(|| state.join("mail")),
        },
        Way::Smtp => Transport::Smtp(smtp(table, folder)),
    };
    Settings {
        from,
        transport,
        daily_limit: table.whole("daily_limit", 1, 1000).unwrap_or(200),
    }
}

fn smtp(table: &Table<'_>, folder: &Path) -> Smtp {
    table.needs(&[("host", "host = \"mail.example.org\"")]);
    let tls = table
        .choice("tls", &[("implicit", Tls::Implicit), ("starttls", Tls::StartTls)])
        .unwrap_or(Tls::Implicit);
    let usual_port = match tls {
        Tls::Implicit => 465,
        Tls::StartTls => 587,
    };
    let port = table
        .whole("port", 1, 65_535)
        .and_then(|port| u16::try_from(port).ok())
        .unwrap_or(usual_port);
    match (port, tls) {
        (25, _) => table.doubt(
            "port",
            "port 25 is for servers among themselves",
            "25",
            "letters are handed over at 465 or 587",
        ),
        (465, Tls::StartTls) | (587, Tls::Implicit) => {
            table.doubt(
                "port",
                "port and tls seldom go together",
                &format!("{port}"),
                "465 goes with \"implicit\", 587 with \"starttls\"",
            );
        }
        _ => {}
    }
    let host = table.text("host", 253).unwrap_or_default();
    if !host.is_empty()
        && !host
            .chars()
            .all(|sign| sign.is_ascii_alphanumeric() || ".-:[]".contains(sign))
    {
        table.wrong(
            "host",
            "host cannot be used",
            &format!("{host}; wanted a name such as mail.example.org"),
            "without smtp:// and without a path",
        );
    }
    let (user, password) = (table.find("user").is_some(), table.find("password_file").is_some());
    if user && !password {
        table.wrong(
            "user",
            "a user without password",
            "password_file is missing",
            "write password_file = \"smtp-password\"",
        );
    } else if password && !user {
        table.wrong(
            "password_file",
            "a password without user",
            "user is missing",
            "write user = \"name\"",
        );
    }
    let root_certificate = path(table, "root_certificate", folder);
    if let Some(missing) = root_certificate.as_ref().filter(|path| !path.is_file()) {
        table.wrong(
            "root_certificate",
            "root_certificate is not there",
            &missing.display().to_string(),
            "a PEM file",
        );
    }
    Smtp {
        host,
        port,
        tls,
        user: table.text("user", 200),
        password_file: secret(table, "password_file", folder),
        root_certificate,
    }
}
