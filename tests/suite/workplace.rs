//! A farm folder of its own, the real program at work in it, and a real mail server beside it.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use covercast::farm::FarmId;
use covercast::store::Store;
use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

/// Longest a test waits for anything.
const PATIENCE: Duration = Duration::from_secs(60);

/// A folder with a farm, a service file and the state.
pub(crate) struct Workplace {
    folder: TempDir,
}

impl Workplace {
    /// One small farm in the given zone; a letter at `letter_at` to each address, as files.
    pub(crate) fn new(zone: &str, letter_at: &str, addresses: &[&str]) -> Self {
        let place = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        place.farm("larkrise", zone, addresses);
        place.service(letter_at, "transport = \"files\"");
        place
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes the farm's files anew.
    pub(crate) fn farm(&self, id: &str, zone: &str, addresses: &[&str]) {
        let people: String = addresses
            .iter()
            .zip(1..)
            .map(|(address, n)| {
                format!("[[people]]\nname = \"Reader {n}\"\nemail = \"{address}\"\nrole = \"manager\"\nletter = true\n")
            })
            .collect();
        let text = format!(
            "[site]\nid = \"{id}\"\nname = \"Larkrise Orchard\"\nlatitude = -39.6\nlongitude = 176.8\nelevation_m = 20\n\
             zone = \"{zone}\"\n{people}[crew]\npeople = 4\n\
             [[set]]\nname = \"set A\"\nwidth_m = 2.4\nmetres = 1200\nblocks = [\"Creek\"]\n\
             [[block]]\nname = \"Creek\"\nvariety = \"Early\"\nrows = 12\nrow_length_m = 90\nrow_azimuth_deg = 10\n"
        );
        std::fs::write(self.path("farm.toml"), text).unwrap();
        let harvest = "block,variety,first pick,last pick,days either way\nCreek,Early,2026-12-20,2026-12-28,3\n";
        std::fs::write(self.path("harvest.csv"), harvest).unwrap();
    }

    /// Writes the service file anew. No weather service answers, so every letter says that nothing is known.
    pub(crate) fn service(&self, letter_at: &str, mail: &str) {
        let text = format!(
            "contact = \"farm@example.org\"\n\
             [[weather]]\nname = \"nobody\"\nkind = \"open-meteo-ensemble\"\nbase_url = \"http://127.0.0.1:9\"\nallow_loopback = true\n\
             [mail]\nfrom = \"Larkrise <letters@farm.example>\"\n{mail}\n[schedule]\nletter_at = \"{letter_at}\"\npull_minutes = 720\n"
        );
        std::fs::write(self.path("service.toml"), text).unwrap();
    }

    /// The orchard of the demo with its reports, its forecast from `port` of this machine, and this way out.
    pub(crate) fn demo(port: u16, mail: &str) -> Self {
        let place = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
        for name in ["farm.toml", "harvest.csv", "blackouts.csv"] {
            std::fs::copy(data.join("farm").join(name), place.path(name)).unwrap();
        }
        place.service("05:30", mail);
        let file = place.path("service.toml");
        let text = std::fs::read_to_string(&file)
            .unwrap()
            .replace("127.0.0.1:9", &format!("127.0.0.1:{port}"));
        std::fs::write(&file, text).unwrap();
        let farm = covercast::settings::load_farm(place.folder.path()).unwrap().farm;
        let store = Store::open(&place.path("state")).unwrap();
        let record = std::fs::read_to_string(data.join("record.json")).unwrap();
        for entry in serde_json::from_str::<Vec<covercast::record::Entry>>(&record).unwrap() {
            store.note(&farm.id, &entry).unwrap();
        }
        place
    }

    /// The program with these arguments and `--farm`, to its end.
    pub(crate) fn command(&self, arguments: &[&str]) -> (i32, String, String) {
        let out = program()
            .args(arguments)
            .arg("--farm")
            .arg(self.folder.path())
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        (out.status.code().unwrap(), text(out.stdout), text(out.stderr))
    }

    /// The daemon, with further environment.
    pub(crate) fn run(&self, environment: &[(&str, &str)]) -> Program {
        let mut command = program();
        command
            .arg("run")
            .arg("--farm")
            .arg(self.folder.path())
            .envs(environment.iter().copied());
        Program::start(command)
    }

    pub(crate) fn store(&self) -> Store {
        Store::look(&self.path("state")).unwrap().expect("a database")
    }

    /// Names of the messages written, in order.
    pub(crate) fn mails(&self) -> Vec<String> {
        let Ok(found) = std::fs::read_dir(self.path("state/mail")) else {
            return Vec::new();
        };
        let mut names: Vec<String> = found
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.retain(|name| name.ends_with(".eml"));
        names.sort();
        names
    }

    /// Local dates on which the letter of `larkrise` was done.
    pub(crate) fn done(&self) -> Vec<String> {
        let jobs = self
            .store()
            .jobs_done(&FarmId("larkrise".to_owned()), "morning")
            .unwrap();
        jobs.into_iter()
            .filter(|(_, outcome)| outcome == "done")
            .map(|(date, _)| date.to_string())
            .collect()
    }

    /// A test authority and a certificate for `localhost`, both valid from the start of 2026.
    pub(crate) fn certificates(&self) -> Certificates {
        let at = |name: &str| self.path(name).display().to_string();
        let openssl = |arguments: &[&str]| {
            let mut command = Command::new("openssl");
            command.args(arguments).current_dir(self.folder.path()).env("TZ", "UTC");
            command
                .env("LD_PRELOAD", faketime())
                .env("FAKETIME", "@2026-01-01 00:00:00");
            let out = command.output().expect("openssl is wanted: run tests/run once");
            assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        };
        let key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"];
        openssl(
            &[
                &[
                    "req",
                    "-x509",
                    "-days",
                    "3650",
                    "-subj",
                    "/CN=Test authority",
                    "-keyout",
                    "ca.key",
                    "-out",
                    "ca.pem",
                ],
                &key[..],
            ]
            .concat(),
        );
        openssl(
            &[
                &[
                    "req",
                    "-subj",
                    "/CN=localhost",
                    "-keyout",
                    "server.key",
                    "-out",
                    "server.csr",
                ],
                &key[..],
            ]
            .concat(),
        );
        std::fs::write(self.path("names"), "subjectAltName=DNS:localhost,IP:127.0.0.1\n").unwrap();
        openssl(&[
            "x509",
            "-req",
            "-in",
            "server.csr",
            "-CA",
            "ca.pem",
            "-CAkey",
            "ca.key",
            "-CAcreateserial",
            "-days",
            "3650",
            "-extfile",
            "names",
            "-out",
            "server.pem",
        ]);
        Certificates {
            authority: at("ca.pem"),
            certificate: at("server.pem"),
            key: at("server.key"),
        }
    }
}

/// Files of a test authority.
pub(crate) struct Certificates {
    pub(crate) authority: String,
    pub(crate) certificate: String,
    pub(crate) key: String,
}

/// The preload library that shows another time.
pub(crate) fn faketime() -> PathBuf {
    let folders = std::fs::read_dir("/usr/lib")
        .unwrap()
        .filter_map(Result::ok)
        .map(|entry| entry.path());
    folders
        .map(|folder| folder.join("faketime/libfaketimeMT.so.1"))
        .find(|path| path.exists())
        .expect("libfaketime is wanted: run tests/run once, it installs it")
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_covercast"));
    command
        .env("TZ", "UTC")
        .env_remove("NOTIFY_SOCKET")
        .env_remove("COVERCAST_LOG");
    command
}

/// The wall clock of a program, in a file that the preload library reads at every look.
pub(crate) struct FakeClock<'a> {
    place: &'a Workplace,
    pub(crate) now: DateTime<Utc>,
}

impl<'a> FakeClock<'a> {
    pub(crate) fn at(place: &'a Workplace, start: &str) -> Self {
        let clock = Self {
            place,
            now: start.parse().unwrap(),
        };
        clock.show();
        clock
    }

    fn show(&self) {
        // Written beside and renamed, so that no half-written time is ever read.
        let (fresh, file) = (self.place.path("clock.new"), self.place.path("clock"));
        std::fs::write(&fresh, self.now.format("%Y-%m-%d %H:%M:%S\n").to_string()).unwrap();
        std::fs::rename(fresh, file).unwrap();
    }

    /// The program under this clock. It looks at the time ten times a second, since its service manager asks it to.
    pub(crate) fn run(&self) -> Program {
        self.run_with(&[])
    }

    /// The same with further environment.
    pub(crate) fn run_with(&self, environment: &[(&str, &str)]) -> Program {
        let (library, file) = (
            faketime().display().to_string(),
            self.place.path("clock").display().to_string(),
        );
        let own = [
            ("LD_PRELOAD", library.as_str()),
            ("FAKETIME_TIMESTAMP_FILE", file.as_str()),
            ("FAKETIME_NO_CACHE", "1"),
            ("FAKETIME_DONT_FAKE_MONOTONIC", "1"),
            ("WATCHDOG_USEC", "200000"),
        ];
        self.place.run(&[&own[..], environment].concat())
    }

    /// Puts the clock on and waits until the program has seen it.
    pub(crate) fn jump(&mut self, program: &mut Program, by: TimeDelta) {
        self.now += by;
        self.show();
        program.wait_for("the clock jumped");
    }
}

/// A process whose lines can be waited for. It is killed when the test lets go of it.
pub(crate) struct Program {
    child: Child,
    lines: Receiver<String>,
    seen: Vec<String>,
    /// Held open as long as the process may live.
    _input: Option<ChildStdin>,
}

impl Program {
    pub(crate) fn start(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (told, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || out.lines().map_while(Result::ok).try_for_each(|line| told.send(line)));
        let input = child.stdin.take();
        Self {
            child,
            lines,
            seen: Vec::new(),
            _input: input,
        }
    }

    /// The next line that holds `word`.
    pub(crate) fn wait_for(&mut self, word: &str) -> String {
        let end = Instant::now() + PATIENCE;
        loop {
            match self.lines.recv_timeout(end.saturating_duration_since(Instant::now())) {
                Ok(line) => {
                    self.seen.push(line.clone());
                    if line.contains(word) {
                        return line;
                    }
                }
                Err(RecvTimeoutError::Timeout) => panic!("no line with {word:?} came:\n{}", self.seen.join("\n")),
                Err(RecvTimeoutError::Disconnected) => {
                    let mut errors = String::new();
                    if let Some(mut stderr) = self.child.stderr.take() {
                        let _ = stderr.read_to_string(&mut errors);
                    }
                    panic!(
                        "it ended without a line with {word:?}:\n{}\n{errors}",
                        self.seen.join("\n")
                    );
                }
            }
        }
    }

    /// All that it has said so far.
    pub(crate) fn said(&self) -> String {
        self.seen.join("\n")
    }

    /// Waits until `word` has stood in so many lines, those seen before counted.
    pub(crate) fn wait_until_told(&mut self, word: &str, times: usize) {
        while self.seen.iter().filter(|line| line.contains(word)).count() < times {
            self.wait_for(word);
        }
    }

    /// Lines that came within this time.
    pub(crate) fn lines_within(&mut self, time: Duration) -> Vec<String> {
        let end = Instant::now() + time;
        let mut lines = Vec::new();
        while let Ok(line) = self.lines.recv_timeout(end.saturating_duration_since(Instant::now())) {
            self.seen.push(line.clone());
            lines.push(line);
        }
        lines
    }

    pub(crate) fn signal(&self, signal: Signal) {
        kill_process(self.pid(), signal).unwrap();
    }

    fn pid(&self) -> Pid {
        Pid::from_raw(i32::try_from(self.child.id()).unwrap()).unwrap()
    }

    /// Asks it to stop; how it ended, and how long that took.
    pub(crate) fn stop(&mut self) -> (ExitStatus, Duration) {
        let began = Instant::now();
        self.signal(Signal::TERM);
        (self.child.wait().unwrap(), began.elapsed())
    }

    /// Ends it as a power cut would.
    pub(crate) fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Resident memory in KiB.
    pub(crate) fn resident_kib(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A mail server on this machine that keeps what it gets.
pub(crate) struct Sink {
    program: Program,
    pub(crate) port: u16,
}

impl Sink {
    pub(crate) fn start(options: &[&str]) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let python = root.join(".venv/bin/python");
        assert!(
            python.exists(),
            "the mail server of the tests is missing: run tests/run once, it installs it into .venv"
        );
        let mut command = Command::new(python);
        command.arg(root.join("tests/smtp_sink.py")).args(options);
        let mut program = Program::start(command);
        let ready: serde_json::Value = serde_json::from_str(&program.wait_for("\"ready\"")).unwrap();
        let port = u16::try_from(ready["port"].as_u64().unwrap()).unwrap();
        Self { program, port }
    }

    /// The next event of that name.
    pub(crate) fn wait_for(&mut self, event: &str) -> serde_json::Value {
        serde_json::from_str(&self.program.wait_for(&format!("\"event\": \"{event}\""))).unwrap()
    }

    /// All that has happened and happens within this time.
    pub(crate) fn events_within(&mut self, time: Duration) -> Vec<serde_json::Value> {
        let lines = self.program.lines_within(time);
        lines.iter().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

/// A forecast service on this machine that answers every question with the demo's forecast; its port.
pub(crate) fn forecast_service() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let reply = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/forecast-ensemble.json")).unwrap();
    std::thread::spawn(move || {
        for line in listener.incoming() {
            let Ok(mut line) = line else { return };
            let mut question = [0; 8192];
            let _ = line.read(&mut question);
            let head = format!(
                "HTTP/1.1 200 OK\r\ncontent-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n\r\n",
                reply.len()
            );
            let _ = line.write_all(head.as_bytes()).and_then(|()| line.write_all(&reply));
        }
    });
    port
}
