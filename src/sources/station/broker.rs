//! A station's messages from an MQTT broker.
//!
//! The client asks again by itself after every break, with growing waits of its own. Messages beyond the limit end
//! the line; what they hold never comes in.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, MqttOptions, NetworkOptions, Packet, Publish, QoS,
    StateError, SubscribeReasonCode, TlsConfiguration, Transport,
};
use rustls::ClientConfig;
use rustls_platform_verifier::ConfigVerifierExt as _;
use sha2::{Digest as _, Sha256};

use super::message::Came;
use super::{Batch, Broker, Key, Message, Tls, message};
use crate::sources::refusal::cleaned;

/// Between two signs of life.
const KEEP_ALIVE: Duration = Duration::from_secs(30);
/// Longest wait for the line to stand \[s\].
const CONNECT_S: u64 = 10;
/// Largest packet that is sent \[bytes\].
const LARGEST_SENT: usize = 4096;
/// Messages that may wait inside the client.
const WAITING: usize = 32;

/// A line to a broker.
pub(super) struct Line {
    client: AsyncClient,
    events: rumqttc::EventLoop,
}

/// What came over a line.
#[derive(Debug)]
pub(super) enum Heard {
    /// The line stands.
    Connected,
    /// Readings.
    Batch(Batch),
    /// Nothing to tell.
    Nothing,
}

impl Line {
    /// Prepares a line; it is set up with the first [`Line::hear`].
    ///
    /// # Errors
    /// Says which file of the settings cannot be used.
    pub(super) fn new(station: &str, broker: &Broker) -> Result<Self, String> {
        // The broker tells clients apart by name; two with one name throw each other out.
        let own = Sha256::digest(format!("{station} {} {}", broker.topic, std::process::id()));
        let own: String = own.iter().take(6).map(|byte| format!("{byte:02x}")).collect();
        let mut options = MqttOptions::new(format!("covercast-{own}"), &broker.host, broker.port);
        options.set_keep_alive(KEEP_ALIVE);
        options.set_clean_session(true);
        options.set_max_packet_size(broker.largest, LARGEST_SENT);
        if let Some(user) = &broker.user {
            let password = match &broker.password_file {
                Some(path) => password(path)?,
                None => String::new(),
            };
            options.set_credentials(user, password);
        }
        if broker.tls == Tls::On {
            options.set_transport(Transport::Tls(encryption(broker)?));
        }
        let (client, mut events) = AsyncClient::new(options, WAITING);
        let mut network = NetworkOptions::new();
        network.set_connection_timeout(CONNECT_S);
        events.set_network_options(network);
        Ok(Self { client, events })
    }

    /// The next thing that comes over the line.
    ///
    /// # Errors
    /// Says why it broke; the line is to be set up anew.
    pub(super) async fn hear(
        &mut self,
        broker: &Broker,
        message: &Message,
        now: impl Fn() -> DateTime<Utc>,
    ) -> Result<Heard, String> {
        let host = &broker.host;
        match self.events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                for topic in topics(broker, message) {
                    let asked = self.client.try_subscribe(topic, QoS::AtLeastOnce);
                    asked.map_err(|_| format!("the broker {host} could not be asked for its messages"))?;
                }
                Ok(Heard::Connected)
            }
            Ok(Event::Incoming(Packet::SubAck(answer))) => {
                if answer.return_codes.contains(&SubscribeReasonCode::Failure) {
                    return Err(format!(
                        "the broker {host} does not give out {}",
                        cleaned(&broker.topic)
                    ));
                }
                Ok(Heard::Nothing)
            }
            Ok(Event::Incoming(Packet::Publish(publish))) => {
                Ok(Heard::Batch(readings(&publish, broker, message, now())))
            }
            Ok(_) => Ok(Heard::Nothing),
            Err(error) => Err(said(host, broker, &error)),
        }
    }
}

/// Every topic to be asked for.
fn topics<'a>(broker: &'a Broker, message: &'a Message) -> Vec<&'a str> {
    let own = message.columns.iter().filter_map(|column| match &column.key {
        Key::Pointer { topic, .. } => Some(topic.as_deref().unwrap_or(&broker.topic)),
        Key::Name(_) | Key::Number(_) => None,
    });
    let mut topics: Vec<&str> = own.collect();
    topics.sort_unstable();
    topics.dedup();
    topics
}

fn readings(publish: &Publish, broker: &Broker, message: &Message, now: DateTime<Utc>) -> Batch {
    let came = if publish.retain { Came::Kept } else { Came::Under };
    let topics = Some((publish.topic.as_str(), broker.topic.as_str()));
    message::read(&publish.payload, topics, message, now, came).unwrap_or_else(|reason| {
        let mut batch = Batch::default();
        batch.unreadable(|| format!("{}: {reason}", publish.topic));
        batch
    })
}

/// The first line of a file that others may not read; what it holds is never said.
fn password(path: &Path) -> Result<String, String> {
    let refused = |why: &str| format!("the password file {} {why}", path.display());
    let about = fs::metadata(path).map_err(|error| refused(&format!("cannot be read: {}", error.kind())))?;
    if about.permissions().mode() & 0o007 != 0 {
        return Err(refused("can be read by everybody on this machine; run chmod 600 on it"));
    }
    if about.len() > 4096 {
        return Err(refused("is too long for a password"));
    }
    let text = fs::read_to_string(path).map_err(|error| refused(&format!("cannot be read: {}", error.kind())))?;
    match text.lines().next() {
        Some(line) if !line.is_empty() => Ok(line.to_owned()),
        _ => Err(refused("is empty")),
    }
}

fn encryption(broker: &Broker) -> Result<TlsConfiguration, String> {
    match &broker.root_certificate {
        Some(path) => {
            let pem = fs::read(path)
                .map_err(|error| format!("the root certificate {} cannot be read: {error}", path.display()))?;
            Ok(TlsConfiguration::Simple {
                ca: pem,
                alpn: None,
                client_auth: None,
            })
        }
        None => {
            let config = ClientConfig::with_platform_verifier()
                .map_err(|error| format!("the certificates of this machine cannot be used: {error}"))?;
            Ok(TlsConfiguration::Rustls(Arc::new(config)))
        }
    }
}

/// What broke, in a sentence without the library's own words where they say nothing to an operator.
fn said(host: &str, broker: &Broker, error: &ConnectionError) -> String {
    match error {
        ConnectionError::ConnectionRefused(
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized,
        ) => {
            format!("the broker {host} does not accept user and password")
        }
        ConnectionError::ConnectionRefused(code) => format!("the broker {host} refuses: {code:?}"),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => {
            format!("the broker {host} does not answer within {CONNECT_S} s")
        }
        ConnectionError::Tls(error) => {
            format!(
                "the broker {host} cannot prove who it is: {}",
                cleaned(&error.to_string())
            )
        }
        ConnectionError::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
            format!("nobody listens at {host} port {}", broker.port)
        }
        ConnectionError::MqttState(StateError::Deserialization(error)) => format!(
            "the broker {host} sent what is no message of at most {} bytes: {}",
            broker.largest,
            cleaned(&error.to_string())
        ),
        error => format!("the line to the broker {host} broke: {}", cleaned(&error.to_string())),
    }
}
