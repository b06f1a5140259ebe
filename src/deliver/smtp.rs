//! One dialogue with a mail server about one message, step by step.
//!
//! The steps are taken one at a time because what a broken connection means depends on how far the dialogue had
//! come: before the message nothing happened; after it, and before the reply, it may have been taken.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use lettre::Address;
use lettre::message::Mailbox;
use lettre::transport::smtp::authentication::{Credentials, Mechanism};
use lettre::transport::smtp::client::{AsyncSmtpConnection, Certificate, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Rcpt};
use lettre::transport::smtp::extension::ClientId;
use lettre::transport::smtp::{Error, response::Code};

use super::outcome::{Outcome, Site, cleaned};
use super::secret::Secret;
use super::{Smtp, Tls};
use crate::store::Waiting;

/// Time for connecting, TLS included.
const CONNECT_LIMIT: Duration = Duration::from_secs(20);
/// Replies that speak of login and not of a recipient (RFC 4954, section 6).
const LOGIN_CODES: [u16; 4] = [530, 534, 535, 538];

/// Hands a message to the server. Returns within `limit` whatever the server does.
pub(super) async fn send(server: &Smtp, from: &str, parcel: &Waiting, limit: Duration) -> Outcome {
    let body_went = AtomicBool::new(false);
    match tokio::time::timeout(limit, dialogue(server, from, parcel, &body_went)).await {
        Ok(Ok(())) => Outcome::Accepted,
        Ok(Err(outcome)) => outcome,
        Err(_) if body_went.load(Ordering::Relaxed) => Outcome::Unknown {
            how: format!("no reply to the message within {} s", limit.as_secs()),
        },
        Err(_) => Outcome::Site(unreachable(server, format!("no end within {} s", limit.as_secs()))),
    }
}

async fn dialogue(server: &Smtp, from: &str, parcel: &Waiting, body_went: &AtomicBool) -> Result<(), Outcome> {
    let own = |text: String| Outcome::Site(Site::Own(text));
    let sender: Mailbox = from
        .parse()
        .map_err(|_| own("the sender in the service file is no mail address; mail waits".to_owned()))?;
    let recipient: Address = parcel.recipient.parse().map_err(|_| Outcome::Refused {
        reply: "the recipient in the farm file is no mail address".to_owned(),
    })?;
    let credentials = credentials(server).map_err(own)?;
    let tls = protection(server).map_err(own)?;

    let mut line = connect(server, tls).await.map_err(Outcome::Site)?;
    if let Some(credentials) = credentials {
        log_in(server, &mut line, &credentials).await?;
    }
    line.command(Mail::new(Some(sender.email), vec![]))
        .await
        .map_err(|error| refusal(server, &error))?;
    line.command(Rcpt::new(recipient, vec![]))
        .await
        .map_err(|error| refusal(server, &error))?;
    line.command(Data).await.map_err(|error| refusal(server, &error))?;
    body_went.store(true, Ordering::Relaxed);
    // The final dot brings its own line end.
    let message = parcel.message.strip_suffix(b"\r\n").unwrap_or(&parcel.message);
    line.message(message).await.map_err(|error| match error.status() {
        Some(_) => refusal(server, &error),
        None => Outcome::Unknown {
            how: format!("connection lost before the reply to the message: {}", words(&error)),
        },
    })?;
    // The message is theirs; a quarrel about the goodbye changes nothing.
    let _ = tokio::time::timeout(Duration::from_secs(2), line.quit()).await;
    Ok(())
}

/// Connects and makes sure that the line is protected before anything else is said.
async fn connect(server: &Smtp, tls: TlsParameters) -> Result<AsyncSmtpConnection, Site> {
    let (address, hello) = ((server.host.as_str(), server.port), ClientId::default());
    let unprotected = |how: String| Site::Unprotected {
        host: server.host.clone(),
        how,
    };
    match server.tls {
        Tls::Implicit => AsyncSmtpConnection::connect_tokio1(address, Some(CONNECT_LIMIT), &hello, Some(tls), None)
            .await
            .map_err(|error| {
                if is_tls(&error) {
                    unprotected(words(&error))
                } else {
                    at_the_door(server, &error)
                }
            }),
        Tls::StartTls => {
            let mut line = AsyncSmtpConnection::connect_tokio1(address, Some(CONNECT_LIMIT), &hello, None, None)
                .await
                .map_err(|error| at_the_door(server, &error))?;
            if !line.can_starttls() {
                return Err(unprotected("it offers no STARTTLS".to_owned()));
            }
            line.starttls(tls, &hello)
                .await
                .map_err(|error| unprotected(words(&error)))?;
            if line.is_encrypted() {
                Ok(line)
            } else {
                Err(unprotected("STARTTLS did not take".to_owned()))
            }
        }
    }
}

async fn log_in(server: &Smtp, line: &mut AsyncSmtpConnection, credentials: &Credentials) -> Result<(), Outcome> {
    match line.auth(&[Mechanism::Plain, Mechanism::Login], credentials).await {
        Ok(_) => Ok(()),
        Err(error) if error.is_transient() => Err(Outcome::Later { reply: words(&error) }),
        Err(error) if error.is_permanent() || error.is_client() => Err(Outcome::Site(Site::Login {
            host: server.host.clone(),
            reply: words(&error),
        })),
        Err(error) => Err(Outcome::Site(unreachable(server, words(&error)))),
    }
}

/// What a reply to MAIL, RCPT, DATA or the final dot means.
fn refusal(server: &Smtp, error: &Error) -> Outcome {
    match error.status().map(number) {
        Some(code) if LOGIN_CODES.contains(&code) => Outcome::Site(Site::Login {
            host: server.host.clone(),
            reply: words(error),
        }),
        Some(500..) => Outcome::Refused { reply: words(error) },
        Some(_) => Outcome::Later { reply: words(error) },
        None => Outcome::Site(unreachable(server, words(error))),
    }
}

/// What went wrong before the dialogue began.
fn at_the_door(server: &Smtp, error: &Error) -> Site {
    if error.is_permanent() {
        return Site::RefusesUs {
            host: server.host.clone(),
            reply: words(error),
        };
    }
    unreachable(server, words(error))
}

fn unreachable(server: &Smtp, how: String) -> Site {
    Site::Unreachable {
        host: server.host.clone(),
        how,
    }
}

fn number(code: Code) -> u16 {
    code.into()
}

/// lettre reports a bad certificate as a connection error whose inmost source is rustls.
fn is_tls(error: &Error) -> bool {
    let mut source = std::error::Error::source(error);
    while let Some(inner) = source {
        if inner.is::<rustls::Error>() {
            return true;
        }
        let wrapped = inner.downcast_ref::<std::io::Error>().and_then(std::io::Error::get_ref);
        if wrapped.is_some_and(|wrapped| wrapped.is::<rustls::Error>()) {
            return true;
        }
        source = inner.source();
    }
    error.is_tls()
}

/// The error in one clean line; it holds no password, for the library prints none.
fn words(error: &Error) -> String {
    cleaned(&error.to_string())
}

fn credentials(server: &Smtp) -> Result<Option<Credentials>, String> {
    let (Some(user), Some(path)) = (&server.user, &server.password_file) else {
        return Ok(None);
    };
    let secret = Secret::from_file(path).map_err(|fault| fault.to_string())?;
    Ok(Some(Credentials::new(user.clone(), secret.reveal())))
}

fn protection(server: &Smtp) -> Result<TlsParameters, String> {
    let mut builder = TlsParameters::builder(server.host.clone());
    if let Some(path) = &server.root_certificate {
        builder = builder.add_root_certificate(certificate(path)?);
    }
    builder.build().map_err(|error| {
        format!(
            "no protected connection can be prepared ({}); mail waits",
            words(&error)
        )
    })
}

fn certificate(path: &Path) -> Result<Certificate, String> {
    let pem = std::fs::read(path).map_err(|error| {
        format!(
            "cannot read the root certificate {}: {error}; mail waits until it can be read",
            path.display()
        )
    })?;
    Certificate::from_pem(&pem).map_err(|_| {
        format!(
            "{} holds no certificate in PEM form; mail waits until it does",
            path.display()
        )
    })
}
