//! Looking into a folder for what a station has dropped there.
//!
//! Files are read with a cap, whole lines only, and only if they look different from the last time. A file that
//! changes under the reader is left for the next look. The same reading is handed on once.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{ErrorKind, Read, Seek, SeekFrom};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};

use super::message::Came;
use super::{Batch, Drop, Order, Way, message, metar, sheet};
use crate::weather::reading::{Measured, Reading};

/// Most bytes read from one end of a file.
const MOST_BYTES: u64 = 4 << 20;
/// Most bytes that hold the header.
const HEAD_BYTES: u64 = 64 << 10;
/// Most bytes of all files in one look.
const MOST_IN_A_LOOK: u64 = 16 << 20;
/// Most names looked at in a folder.
const MOST_NAMES: usize = 10_000;
/// Older readings tell nothing that is used.
const OLDEST: TimeDelta = TimeDelta::days(8);
/// A file that cannot be read whole may be in the middle of being written for this long.
const BEING_WRITTEN: TimeDelta = TimeDelta::minutes(2);

/// A folder and what was seen in it.
#[derive(Debug)]
pub(super) struct Watch {
    drop: Drop,
    seen: BTreeMap<PathBuf, Look>,
    handed_on: BTreeMap<Place, Option<u64>>,
}

/// Which reading: kind, begin and end.
type Place = (Measured, DateTime<Utc>, DateTime<Utc>);

/// Enough of a file to see that it changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Look {
    inode: u64,
    length: u64,
    changed: (i64, i64),
}

impl Look {
    fn of(meta: &fs::Metadata) -> Self {
        Self {
            inode: meta.ino(),
            length: meta.len(),
            changed: (meta.mtime(), meta.mtime_nsec()),
        }
    }

    fn when(self) -> Option<DateTime<Utc>> {
        DateTime::from_timestamp(self.changed.0, 0)
    }
}

/// What of a file is read.
struct Piece {
    head: Vec<u8>,
    lines: Vec<u8>,
}

impl Watch {
    pub(super) fn new(drop: Drop) -> Self {
        Self {
            drop,
            seen: BTreeMap::new(),
            handed_on: BTreeMap::new(),
        }
    }

    /// Reads what is new.
    ///
    /// # Errors
    /// Says why the folder, or its newest file, cannot be read; what could be read before stays handed on.
    pub(super) fn poll(&mut self, way: &Way, now: DateTime<Utc>) -> Result<Batch, String> {
        let files = self.files()?;
        self.seen.retain(|path, _| files.iter().any(|(other, _)| other == path));
        let mut batch = Batch::default();
        let mut fault = None;
        let mut read = 0;
        for (path, look) in files {
            let fresh = self.seen.get(&path) != Some(&look);
            let old = look.when().is_some_and(|when| now - when > OLDEST);
            if !fresh || old || read > MOST_IN_A_LOOK {
                continue;
            }
            let name = shown(&path);
            let newest_first = matches!(way, Way::Csv { layout, .. } if layout.order == Order::NewestFirst);
            match piece(&path, look, newest_first) {
                Ok(None) => {}
                Ok(Some(piece)) => {
                    read += piece.lines.len() as u64;
                    match readings(way, &piece, look.when().unwrap_or(now), now) {
                        Ok(found) => {
                            self.seen.insert(path, look);
                            batch.append(found);
                        }
                        Err(reason) if look.when().is_some_and(|when| now - when < BEING_WRITTEN) => {
                            fault.get_or_insert(format!("{name}: {reason}; it may still be being written"));
                        }
                        Err(reason) => {
                            self.seen.insert(path, look);
                            fault.get_or_insert(format!("{name}: {reason}"));
                        }
                    }
                }
                Err(reason) => {
                    fault.get_or_insert(format!("{name} cannot be read: {reason}"));
                }
            }
        }
        batch.readings.retain(|reading| now - reading.told.valid.end() < OLDEST);
        self.hand_on(&mut batch.readings);
        self.handed_on.retain(|(_, _, end), _| now - *end < OLDEST);
        match fault {
            // What could be read counts more than what could not.
            Some(fault) if batch.readings.is_empty() => Err(fault),
            Some(fault) => {
                batch.unreadable(|| fault);
                Ok(batch)
            }
            None => Ok(batch),
        }
    }

    /// Files whose names count, the oldest first.
    fn files(&self) -> Result<Vec<(PathBuf, Look)>, String> {
        let folder = &self.drop.folder;
        let entries = fs::read_dir(folder).map_err(|error| {
            let reason = match error.kind() {
                ErrorKind::NotFound => "it is not there".to_owned(),
                ErrorKind::PermissionDenied => "its rights do not allow it".to_owned(),
                ErrorKind::NotADirectory => "it is not a folder".to_owned(),
                _ => error.to_string(),
            };
            format!("the folder {} cannot be read: {reason}", shown(folder))
        })?;
        let mut files = Vec::new();
        for entry in entries.take(MOST_NAMES).filter_map(Result::ok) {
            let name = entry.file_name();
            let counts = name
                .to_str()
                .is_some_and(|name| name.ends_with(&self.drop.suffix) && !name.starts_with('.'));
            // Links are not followed: they may lead anywhere.
            if let Ok(meta) = entry.metadata()
                && counts
                && meta.is_file()
            {
                files.push((entry.path(), Look::of(&meta)));
            }
        }
        files.sort_by(|(a, look_a), (b, look_b)| look_a.changed.cmp(&look_b.changed).then_with(|| a.cmp(b)));
        Ok(files)
    }

    /// Keeps only readings that are new or read differently.
    fn hand_on(&mut self, readings: &mut Vec<Reading>) {
        readings.retain(|reading| {
            let begin = match reading.told.valid {
                crate::weather::Valid::At(at) => at,
                crate::weather::Valid::Over { from, .. } => from,
            };
            let place = (reading.measured, begin, reading.told.valid.end());
            let value = reading.told.value.map(f64::to_bits);
            self.handed_on.insert(place, value) != Some(value)
        });
    }
}

fn readings(way: &Way, piece: &Piece, changed: DateTime<Utc>, now: DateTime<Utc>) -> Result<Batch, String> {
    match way {
        Way::Csv { layout, .. } => sheet::read(&piece.head, &piece.lines, layout, now),
        Way::Metar { code, .. } => Ok(metar::read(&piece.lines, code, changed.min(now))),
        Way::Json { message, .. } => {
            let read = |bytes: &[u8]| message::read(bytes, None, message, changed.min(now), Came::File);
            match read(&piece.lines) {
                Ok(batch) => Ok(batch),
                Err(reason) => {
                    // Not one object: perhaps one a line.
                    let mut batch = Batch::default();
                    let lines = piece.lines.split(|byte| *byte == b'\n');
                    for line in lines.filter(|line| line.iter().any(|byte| !byte.is_ascii_whitespace())) {
                        match read(line) {
                            Ok(found) => batch.append(found),
                            Err(reason) => batch.unreadable(|| reason),
                        }
                    }
                    if batch.readings.is_empty() {
                        Err(reason)
                    } else {
                        Ok(batch)
                    }
                }
            }
        }
        Way::Mqtt { .. } => Ok(Batch::default()),
    }
}

/// Head and whole lines of a file; `None` if it changed under the reader.
fn piece(path: &Path, look: Look, newest_first: bool) -> Result<Option<Piece>, String> {
    let say = |error: std::io::Error| match error.kind() {
        ErrorKind::PermissionDenied => "its rights do not allow it".to_owned(),
        _ => error.to_string(),
    };
    // Not waiting: a pipe of that name must not hold the reader.
    let flags = rustix::fs::OFlags::NOFOLLOW | rustix::fs::OFlags::NONBLOCK;
    let flags = i32::try_from(flags.bits()).unwrap_or_default();
    let mut file = match fs::OpenOptions::new().read(true).custom_flags(flags).open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(say(error)),
    };
    let opened = Look::of(&file.metadata().map_err(say)?);
    if opened.inode != look.inode {
        return Ok(None);
    }
    let whole = opened.length <= MOST_BYTES;
    let head = bytes(&mut file, 0, HEAD_BYTES.min(opened.length)).map_err(say)?;
    let from = if whole || newest_first {
        0
    } else {
        opened.length - MOST_BYTES
    };
    let mut lines = bytes(&mut file, from, MOST_BYTES.min(opened.length)).map_err(say)?;
    let after = Look::of(&file.metadata().map_err(say)?);
    // One that only grew is as good as before; any other change is a rewriting.
    if after != opened && after.length <= opened.length {
        return Ok(None);
    }
    if from > 0 {
        // The first line is cut.
        let end = lines
            .iter()
            .position(|byte| *byte == b'\n')
            .map_or(lines.len(), |end| end + 1);
        lines.drain(..end);
    }
    // JSON proves by itself that it is whole; of lines only those that ended are.
    let is_object = lines.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'{');
    if !is_object || !whole {
        let end = lines.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        lines.truncate(end);
    }
    Ok(Some(Piece { head, lines }))
}

fn bytes(file: &mut File, from: u64, most: u64) -> std::io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    file.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn shown(path: &Path) -> String {
    super::super::refusal::cleaned(&path.display().to_string())
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::super::{Clock, Column, Form, Key, Layout, Unit};
    use super::*;

    fn layout() -> Layout {
        let measured = Measured::Temperature;
        Layout {
            separator: b',',
            decimal: '.',
            header_rows: 1,
            order: Order::OldestFirst,
            missing: Vec::new(),
            time: vec![Key::Name("time".to_owned())],
            clock: Clock {
                form: Form::Rfc3339,
                zone: None,
            },
            columns: vec![Column {
                key: Key::Name("air".to_owned()),
                measured,
                unit: Unit::named(measured, "°C").unwrap(),
                over: None,
            }],
        }
    }

    fn at(minute: i64) -> DateTime<Utc> {
        "2026-03-10T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::minutes(minute)
    }

    struct Trial {
        folder: tempfile::TempDir,
        watch: Watch,
        way: Way,
    }

    impl Trial {
        fn new() -> Self {
            let folder = tempfile::tempdir().unwrap();
            let drop = Drop {
                folder: folder.path().to_owned(),
                suffix: ".csv".to_owned(),
            };
            Self {
                folder,
                watch: Watch::new(drop.clone()),
                way: Way::Csv { drop, layout: layout() },
            }
        }

        fn file(&self, name: &str) -> PathBuf {
            self.folder.path().join(name)
        }

        fn write(&self, name: &str, text: &str) {
            fs::write(self.file(name), text).unwrap();
        }

        fn append(&self, name: &str, text: &str) {
            let mut file = fs::OpenOptions::new().append(true).open(self.file(name)).unwrap();
            file.write_all(text.as_bytes()).unwrap();
        }

        fn poll(&mut self) -> Result<Vec<f64>, String> {
            // Files get the machine's time; the readings are of that time too, so that none is too old.
            let batch = self.watch.poll(&self.way, at(120))?;
            Ok(batch.readings.iter().filter_map(|reading| reading.told.value).collect())
        }
    }

    fn line(minute: i64, air: &str) -> String {
        format!("{},{air}\n", at(minute).to_rfc3339())
    }

    #[test]
    fn only_whole_lines_count_and_the_rest_comes_with_the_next_look() {
        let mut trial = Trial::new();
        trial.write("a.csv", &format!("time,air\n{}{}", line(0, "7.5"), "2026-03-10T00:10"));
        assert_eq!(trial.poll().unwrap(), [7.5]);
        assert_eq!(trial.poll().unwrap(), [0.0; 0], "nothing is handed on twice");
        trial.append("a.csv", ":00Z,8.1");
        assert_eq!(trial.poll().unwrap(), [0.0; 0], "8.1 may become 8.15");
        trial.append("a.csv", "5\n");
        assert_eq!(trial.poll().unwrap(), [8.15]);
    }

    #[test]
    fn a_value_that_was_put_right_is_handed_on_again() {
        let mut trial = Trial::new();
        trial.write("a.csv", &format!("time,air\n{}", line(0, "75.0")));
        assert_eq!(trial.poll().unwrap(), [75.0]);
        trial.write("b.tmp", &format!("time,air\n{}", line(0, "7.5")));
        fs::rename(trial.file("b.tmp"), trial.file("a.csv")).unwrap();
        assert_eq!(trial.poll().unwrap(), [7.5]);
    }

    #[test]
    fn a_folder_that_is_not_there_is_said_and_found_when_it_comes_back() {
        let mut trial = Trial::new();
        let (here, away) = (
            trial.folder.path().to_owned(),
            trial.folder.path().with_extension("away"),
        );
        trial.write("a.csv", &format!("time,air\n{}", line(0, "7.5")));
        fs::rename(&here, &away).unwrap();
        let fault = trial.poll().unwrap_err();
        assert!(fault.contains("cannot be read: it is not there"), "{fault}");
        fs::rename(&away, &here).unwrap();
        assert_eq!(trial.poll().unwrap(), [7.5]);
    }

    #[test]
    fn links_pipes_folders_and_hidden_files_are_passed_over() {
        let mut trial = Trial::new();
        let outside = tempfile::tempdir().unwrap();
        fs::write(outside.path().join("x.csv"), format!("time,air\n{}", line(0, "1.0"))).unwrap();
        std::os::unix::fs::symlink(outside.path().join("x.csv"), trial.file("link.csv")).unwrap();
        fs::create_dir(trial.file("folder.csv")).unwrap();
        rustix::fs::mknodat(
            rustix::fs::CWD,
            trial.file("pipe.csv"),
            rustix::fs::FileType::Fifo,
            rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR,
            0,
        )
        .unwrap();
        trial.write(".half.csv", &format!("time,air\n{}", line(0, "2.0")));
        assert_eq!(trial.poll().unwrap(), [0.0; 0]);
    }

    #[test]
    fn of_a_hundred_megabytes_only_the_end_is_read() {
        let mut trial = Trial::new();
        trial.write("big.csv", "time,air\n");
        let file = fs::OpenOptions::new().write(true).open(trial.file("big.csv")).unwrap();
        file.set_len(100 << 20).unwrap();
        trial.append("big.csv", &format!("\n{}{}", line(10, "5.0"), line(20, "5.5")));
        let began = std::time::Instant::now();
        let found = trial.poll().unwrap();
        assert_eq!(found, [5.0, 5.5]);
        assert!(began.elapsed() < std::time::Duration::from_secs(5));
        let piece = piece(
            &trial.file("big.csv"),
            Look::of(&fs::metadata(trial.file("big.csv")).unwrap()),
            false,
        );
        assert!(piece.unwrap().unwrap().lines.len() as u64 <= MOST_BYTES);
    }

    #[test]
    fn a_file_put_in_place_of_the_one_looked_at_waits_for_the_next_look() {
        let trial = Trial::new();
        trial.write("a.csv", "time,air\n");
        let look = Look::of(&fs::metadata(trial.file("a.csv")).unwrap());
        trial.write("b.csv", &format!("time,air\n{}", line(0, "7.5")));
        fs::rename(trial.file("b.csv"), trial.file("a.csv")).unwrap();
        assert!(piece(&trial.file("a.csv"), look, false).unwrap().is_none());
    }

    #[test]
    fn half_a_json_object_is_tried_again_when_it_has_changed() {
        let folder = tempfile::tempdir().unwrap();
        let drop = Drop {
            folder: folder.path().to_owned(),
            suffix: ".json".to_owned(),
        };
        let measured = Measured::Temperature;
        let way = Way::Json {
            drop: drop.clone(),
            message: super::super::Message {
                time: None,
                columns: vec![Column {
                    key: Key::Pointer {
                        pointer: "/t".to_owned(),
                        topic: None,
                    },
                    measured,
                    unit: Unit::named(measured, "°C").unwrap(),
                    over: None,
                }],
            },
        };
        let mut watch = Watch::new(drop);
        let path = folder.path().join("now.json");
        fs::write(&path, "{\"t\": 1").unwrap();
        let now = Look::of(&fs::metadata(&path).unwrap()).when().unwrap();
        let fault = watch.poll(&way, now).unwrap_err();
        assert!(
            fault.contains("not JSON") && fault.contains("may still be being written"),
            "{fault}"
        );
        fs::write(&path, "{\"t\": 12}").unwrap();
        let found = watch.poll(&way, now + TimeDelta::minutes(1)).unwrap();
        assert_eq!(found.readings[0].told.value, Some(12.0));
    }
}
