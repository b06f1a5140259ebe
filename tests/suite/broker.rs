//! A station over MQTT, with the broker that Debian ships.

use std::fs;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use covercast::daemon::Clock;
use covercast::sources::prepare_tls;
use covercast::sources::station::{News, listen};
use covercast::weather::reading::{Measured, Reading};
use rumqttc::{AsyncClient, Event, MqttOptions, Outgoing, Packet, QoS};
use tempfile::TempDir;
use tokio::sync::mpsc;

use crate::stations::station;
use crate::workplace::Workplace;

/// Longest a test waits for anything.
const PATIENCE: Duration = Duration::from_secs(60);

/// Mosquitto on a port of this machine alone; it ends with the test.
struct Broker {
    folder: TempDir,
    port: u16,
    child: Child,
    extra: String,
}

fn mosquitto(program: &str) -> PathBuf {
    let debian = ["/usr/sbin", "/usr/bin"].map(|folder| Path::new(folder).join(program));
    let found = debian.into_iter().find(|path| path.exists());
    found.unwrap_or_else(|| panic!("{program} is wanted: run tests/run once, or apt-get install mosquitto"))
}

impl Broker {
    fn start(extra: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let child = Self::launch(&folder, port, extra);
        Self {
            folder,
            port,
            child,
            extra: extra.to_owned(),
        }
    }

    fn launch(folder: &TempDir, port: u16, extra: &str) -> Child {
        let file = folder.path().join("mosquitto.conf");
        let place = folder.path().display();
        // Started as root it would become a user that may not read the test's folder.
        let text = format!(
            "listener {port} 127.0.0.1\nuser root\npersistence true\npersistence_location {place}/\nlog_dest none\n{extra}\n"
        );
        fs::write(&file, text).unwrap();
        let child = Command::new(mosquitto("mosquitto"))
            .arg("-c")
            .arg(&file)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let end = std::time::Instant::now() + PATIENCE;
        while std::net::TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(std::time::Instant::now() < end, "the broker did not begin to listen");
            std::thread::yield_now();
        }
        child
    }

    /// Ends the broker as an operator would, so that what it keeps is written.
    fn stop(&mut self) {
        let pid = rustix::process::Pid::from_child(&self.child);
        let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
        self.child.wait().unwrap();
    }

    fn again(&mut self) {
        self.child = Self::launch(&self.folder, self.port, &self.extra);
    }

    /// Hands one message to the broker and waits until it has it.
    async fn publish(&self, topic: &str, payload: impl Into<Vec<u8>>, retain: bool) {
        let mut options = MqttOptions::new("publisher", "127.0.0.1", self.port);
        options.set_max_packet_size(1 << 20, 1 << 20);
        let (client, mut events) = AsyncClient::new(options, 4);
        client
            .publish(topic, QoS::AtLeastOnce, retain, payload.into())
            .await
            .unwrap();
        let told = async {
            loop {
                if let Event::Incoming(Packet::PubAck(_)) = events.poll().await.unwrap() {
                    break;
                }
            }
            client.disconnect().await.unwrap();
            while !matches!(events.poll().await, Ok(Event::Outgoing(Outgoing::Disconnect)) | Err(_)) {}
        };
        tokio::time::timeout(PATIENCE, told)
            .await
            .expect("the broker takes a message");
    }
}

impl std::ops::Drop for Broker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A station listened to.
struct Ear {
    news: mpsc::Receiver<News>,
    task: tokio::task::JoinHandle<()>,
}

impl Ear {
    fn of(port: u16, more: &str, folder: &Path) -> Self {
        prepare_tls();
        let block = format!(
            "kind = \"mqtt\"\nport = {port}\ntopic = \"farm/mast\"\ntime = \"/time\"\ntime_format = \"unix\"\n{more}\n\
             columns = [{{ pointer = \"/air\", quantity = \"temperature\", unit = \"°C\" }},\n\
             {{ pointer = \"\", topic = \"farm/gust\", quantity = \"gust\", unit = \"km/h\" }}]\n"
        );
        let (tell, news) = mpsc::channel(64);
        let now = || Clock::Wall.now();
        let task = tokio::spawn(listen(Arc::new(station(&block, folder)), now, tell));
        Self { news, task }
    }

    fn plain(broker: &Broker) -> Self {
        Self::of(broker.port, "host = \"127.0.0.1\"\ntls = \"off\"", broker.folder.path())
    }

    /// The first news that this finds something in.
    async fn wait<T>(&mut self, what: &str, find: impl Fn(&News) -> Option<T>) -> T {
        let found = async {
            loop {
                let news = self.news.recv().await.expect("the listener goes on");
                if let Some(found) = find(&news) {
                    return found;
                }
            }
        };
        match tokio::time::timeout(PATIENCE, found).await {
            Ok(found) => found,
            Err(_) => panic!("never came: {what}"),
        }
    }

    async fn reading(&mut self, measured: Measured, value: f64) -> Reading {
        let is_it = |reading: &&Reading| {
            reading.measured == measured && reading.told.value.is_some_and(|told| (told - value).abs() < 1e-9)
        };
        self.wait(&format!("{measured:?} {value}"), |news| {
            news.batch.readings.iter().find(is_it).copied()
        })
        .await
    }

    async fn fault(&mut self) -> String {
        self.wait("a fault", |news| news.fault.clone()).await
    }
}

impl std::ops::Drop for Ear {
    fn drop(&mut self) {
        self.task.abort();
    }
}

fn seconds_ago(seconds: i64) -> i64 {
    Clock::Wall.now().timestamp() - seconds
}

#[tokio::test]
async fn a_kept_and_a_live_message_become_readings_at_their_own_time() {
    let broker = Broker::start("allow_anonymous true");
    let kept = seconds_ago(600);
    broker
        .publish("farm/mast", format!("{{\"time\": {kept}, \"air\": \"7.5\"}}"), true)
        .await;
    let mut ear = Ear::plain(&broker);
    let reading = ear.reading(Measured::Temperature, 7.5).await;
    assert_eq!(reading.told.valid.end().timestamp(), kept);
    // A bare number under a topic of its own, without a time: the time of receipt.
    broker.publish("farm/gust", "36", false).await;
    let gust = ear.reading(Measured::Gust, 10.0).await;
    assert!((gust.told.valid.end() - gust.received).num_seconds().abs() < 2);
}

#[tokio::test]
async fn the_line_is_set_up_again_after_the_broker_has_gone_and_come_back() {
    let mut broker = Broker::start("allow_anonymous true");
    let mut ear = Ear::plain(&broker);
    ear.wait("a line that stands", |news| news.fault.is_none().then_some(()))
        .await;
    broker.publish("farm/mast", "{\"air\": 1.5}", false).await;
    ear.reading(Measured::Temperature, 1.5).await;
    broker.stop();
    let fault = ear.fault().await;
    assert!(fault.contains("127.0.0.1"), "{fault}");
    broker.again();
    let kept = seconds_ago(60);
    broker
        .publish("farm/mast", format!("{{\"time\": {kept}, \"air\": 2.5}}"), true)
        .await;
    ear.reading(Measured::Temperature, 2.5).await;
}

#[tokio::test]
async fn hostile_messages_are_counted_and_the_next_good_one_is_read() {
    let broker = Broker::start("allow_anonymous true");
    let mut ear = Ear::plain(&broker);
    ear.wait("a line that stands", |news| news.fault.is_none().then_some(()))
        .await;
    let deep = "[".repeat(60_000);
    for hostile in [
        "".as_bytes(),
        b"\xff\xfe",
        b"{\"air\": 1e999}",
        b"{\"air\": \"NaN\"}",
        b"{\"air\": \"\x1b[2J\"}",
        deep.as_bytes(),
    ] {
        broker.publish("farm/mast", hostile, false).await;
    }
    broker.publish("farm/mast", "{\"air\": 3.5}", false).await;
    ear.reading(Measured::Temperature, 3.5).await;
    // Larger than the limit: it never comes in, and the line is set up anew.
    broker.publish("farm/mast", vec![b' '; 200_000], false).await;
    let fault = ear.fault().await;
    assert!(fault.contains("a message of more than 65536 bytes"), "{fault}");
    let kept = seconds_ago(60);
    broker
        .publish("farm/mast", format!("{{\"time\": {kept}, \"air\": 4.5}}"), true)
        .await;
    ear.reading(Measured::Temperature, 4.5).await;
}

#[tokio::test]
async fn a_wrong_password_is_said_without_it_and_the_right_one_lets_in() {
    let folder = tempfile::tempdir().unwrap();
    let users = folder.path().join("users");
    let made = Command::new(mosquitto("mosquitto_passwd"))
        .args(["-b", "-c", users.to_str().unwrap(), "covercast", "right-canary"])
        .stderr(Stdio::null())
        .status();
    assert!(made.unwrap().success());
    let broker = Broker::start(&format!("password_file {}", users.display()));
    let secret = |password: &str| {
        use std::os::unix::fs::PermissionsExt as _;
        let file = broker.folder.path().join("mqtt-password");
        fs::write(&file, password).unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
    };
    let more = "host = \"127.0.0.1\"\ntls = \"off\"\nuser = \"covercast\"\npassword_file = \"mqtt-password\"";
    secret("wrong-canary\n");
    let mut ear = Ear::of(broker.port, more, broker.folder.path());
    let fault = ear.fault().await;
    assert_eq!(fault, "the broker 127.0.0.1 does not accept user and password");
    // The file is read anew for each try.
    secret("right-canary\n");
    ear.wait("a line that stands", |news| news.fault.is_none().then_some(()))
        .await;
}

#[tokio::test]
async fn a_broker_is_trusted_only_by_its_certificate() {
    let place = Workplace::new("Etc/UTC", "05:30", &["m@farm.example"]);
    let certificates = place.certificates();
    let broker = Broker::start(&format!(
        "allow_anonymous true\ncertfile {}\nkeyfile {}",
        certificates.certificate, certificates.key
    ));
    let known = format!(
        "host = \"localhost\"\nroot_certificate = \"{}\"",
        certificates.authority
    );
    let mut ear = Ear::of(broker.port, &known, broker.folder.path());
    ear.wait("a line that stands", |news| news.fault.is_none().then_some(()))
        .await;
    let mut stranger = Ear::of(broker.port, "host = \"localhost\"", broker.folder.path());
    let fault = stranger.fault().await;
    assert!(fault.contains("the broker localhost cannot prove who it is"), "{fault}");
    let mut clear = Ear::of(broker.port, "host = \"localhost\"\ntls = \"off\"", broker.folder.path());
    let fault = clear.fault().await;
    assert!(
        fault.contains("the line to the broker localhost broke") || fault.contains("does not answer"),
        "{fault}"
    );
}
