//! Opening the database without ever starting as if new.
//!
//! SQLite takes a missing or empty file for a new database. So a marker beside it remembers that one existed,
//! and the file is checked before it is used; a damaged one is left as it is.

use std::fs::{self, DirBuilder, OpenOptions};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};
use rustix::fs::Mode;

use super::fault::Fault;
use super::{Store, schema};

/// The database's name in the state folder.
pub const DATABASE: &str = "covercast.db";
/// Remembers that a database existed.
const MARKER: &str = "covercast.db.exists";
/// The last daily copy.
const COPY: &str = "covercast.db.copy";
/// How long a statement waits for another process, such as `covercast note`.
const BUSY: Duration = Duration::from_secs(5);

impl Store {
    /// Opens the database of a state folder for reading and writing; makes folder and database at the very first
    /// start. Sets the process's file mask so that nobody else can read what is made.
    pub fn open(folder: &Path) -> Result<Self, Fault> {
        make_folder(folder)?;
        let path = folder.join(DATABASE);
        if !folder.join(MARKER).exists() {
            make_database(&path)?;
        } else if !path.exists() {
            return Err(Fault::Gone {
                copy: copy_of(folder),
                path,
                marker: folder.join(MARKER),
            });
        } else {
            check(folder, &path)?;
        }
        let mut connection = Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        settle(&connection)?;
        connection.pragma_update(None, "journal_mode", "wal")?;
        refuse_newer(&connection, &path)?;
        schema::migrations()
            .to_latest(&mut connection)
            .map_err(|error| damaged(folder, &path, error.to_string()))?;
        remember(&folder.join(MARKER))?;
        Ok(Self {
            connection,
            folder: folder.to_owned(),
        })
    }

    /// Opens the database for looking only; `None` if there never was one. Works while the daemon runs, and on a
    /// disk that became read-only.
    pub fn look(folder: &Path) -> Result<Option<Self>, Fault> {
        let path = folder.join(DATABASE);
        if !path.exists() {
            let marker = folder.join(MARKER);
            return if marker.exists() {
                Err(Fault::Gone {
                    copy: copy_of(folder),
                    path,
                    marker,
                })
            } else {
                Ok(None)
            };
        }
        check_length(folder, &path)?;
        let connection = open_to_look(&path)?;
        refuse_newer(&connection, &path)?;
        Ok(Some(Self {
            connection,
            folder: folder.to_owned(),
        }))
    }

    /// Writes the daily copy: beside the old one, then in its place.
    pub fn copy(&self) -> Result<PathBuf, Fault> {
        let (copy, fresh) = (self.folder.join(COPY), self.folder.join(format!("{COPY}.new")));
        let fault = |what, source| Fault::Folder {
            what,
            path: fresh.clone(),
            source,
        };
        if fresh.exists() {
            fs::remove_file(&fresh).map_err(|source| fault("cannot remove", source))?;
        }
        make_file(&fresh)?;
        self.connection.execute("vacuum into ?1", [fresh.to_string_lossy()])?;
        fs::rename(&fresh, &copy).map_err(|source| fault("cannot rename", source))?;
        Ok(copy)
    }

    /// Runs SQLite's own check; the text is its first complaint.
    pub fn complaint(&self) -> Result<Option<String>, Fault> {
        Ok(complaint(&self.connection)?)
    }

    /// Brings the write-ahead log into the database file, so that losing the log loses nothing.
    pub(super) fn fold_log(&self) {
        // A reader may hold the log; then the next time does it.
        let _ = self
            .connection
            .query_row("pragma wal_checkpoint(truncate)", [], |_| Ok(()));
    }
}

/// Makes the state folder, for its owner only, and sets the process's file mask to the same.
pub fn make_folder(folder: &Path) -> Result<(), Fault> {
    rustix::process::umask(Mode::from_raw_mode(0o077));
    let made = DirBuilder::new().recursive(true).mode(0o700).create(folder);
    made.map_err(|source| Fault::Folder {
        what: "cannot make",
        path: folder.to_owned(),
        source,
    })
}

/// The first start, or one that was cut short before its end: an empty file with the owner's rights only.
fn make_database(path: &Path) -> Result<(), Fault> {
    if path.exists() { Ok(()) } else { make_file(path) }
}

fn make_file(path: &Path) -> Result<(), Fault> {
    let made = OpenOptions::new().write(true).create_new(true).mode(0o600).open(path);
    made.map(drop).map_err(|source| Fault::Folder {
        what: "cannot make",
        path: path.to_owned(),
        source,
    })
}

fn remember(marker: &Path) -> Result<(), Fault> {
    if marker.exists() { Ok(()) } else { make_file(marker) }
}

fn settle(connection: &Connection) -> Result<(), rusqlite::Error> {
    connection.busy_timeout(BUSY)?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "synchronous", "full")
}

/// A plain look first; on a read-only disk the shared index cannot be made, and the file is read as it stands.
fn open_to_look(path: &Path) -> Result<Connection, rusqlite::Error> {
    let plain = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    plain.busy_timeout(BUSY)?;
    if plain
        .query_row("select count(*) from sqlite_schema", [], |_| Ok(()))
        .is_ok()
    {
        return Ok(plain);
    }
    let address = format!(
        "file:{}?immutable=1",
        path.to_string_lossy()
            .replace('%', "%25")
            .replace('?', "%3f")
            .replace('#', "%23")
    );
    Connection::open_with_flags(address, OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI)
}

fn check_length(folder: &Path, path: &Path) -> Result<(), Fault> {
    match fs::metadata(path) {
        Ok(found) if found.len() == 0 && folder.join(MARKER).exists() => {
            Err(damaged(folder, path, "it is empty".to_owned()))
        }
        Ok(_) => Ok(()),
        Err(source) => Err(Fault::Folder {
            what: "cannot read",
            path: path.to_owned(),
            source,
        }),
    }
}

fn check(folder: &Path, path: &Path) -> Result<(), Fault> {
    check_length(folder, path)?;
    // Read and write: a log left by a crash is taken in before the check.
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    connection.busy_timeout(BUSY)?;
    match complaint(&connection) {
        Ok(None) => Ok(()),
        Ok(Some(text)) => Err(damaged(folder, path, text)),
        Err(error) if is_damage(&error) => Err(damaged(folder, path, error.to_string())),
        Err(error) => Err(error.into()),
    }
}

fn complaint(connection: &Connection) -> Result<Option<String>, rusqlite::Error> {
    let text: String = connection.query_row("pragma quick_check(1)", [], |row| row.get(0))?;
    Ok((text != "ok").then_some(text))
}

fn is_damage(error: &rusqlite::Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(rusqlite::ErrorCode::DatabaseCorrupt | rusqlite::ErrorCode::NotADatabase)
    )
}

fn damaged(folder: &Path, path: &Path, how: String) -> Fault {
    Fault::Damaged {
        path: path.to_owned(),
        how,
        copy: copy_of(folder),
    }
}

fn copy_of(folder: &Path) -> Option<PathBuf> {
    Some(folder.join(COPY)).filter(|copy| copy.exists())
}

fn refuse_newer(connection: &Connection, path: &Path) -> Result<(), Fault> {
    let found: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let known = schema::version();
    if found > known {
        Err(Fault::Newer {
            path: path.to_owned(),
            found,
            known,
        })
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    fn used_folder() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        drop(Store::open(folder.path()).unwrap());
        folder
    }

    fn refusal(folder: &Path) -> String {
        Store::open(folder).unwrap_err().to_string()
    }

    #[test]
    fn a_damaged_database_is_never_taken_for_a_new_one() {
        type Harm = fn(&Path);
        let harms: [(&str, Harm); 5] = [
            ("gone", |path| fs::remove_file(path).unwrap()),
            ("it is empty", |path| fs::write(path, b"").unwrap()),
            ("damaged", |path| fs::write(path, [0x5a; 8192]).unwrap()),
            ("damaged", |path| {
                let whole = fs::read(path).unwrap();
                fs::write(path, &whole[..whole.len() / 2]).unwrap();
            }),
            ("damaged", |path| {
                let mut whole = fs::read(path).unwrap();
                whole[4096..8192].fill(0xff);
                fs::write(path, whole).unwrap();
            }),
        ];
        for (word, harm) in harms {
            let folder = used_folder();
            let path = folder.path().join(DATABASE);
            harm(&path);
            let before = fs::read(&path).ok();
            let text = refusal(folder.path());
            assert!(text.contains(word) && text.contains("not known"), "{text}");
            assert_eq!(fs::read(&path).ok(), before, "the damaged file is kept");
            assert_eq!(refusal(folder.path()), text, "and the second start says the same");
        }
    }

    #[test]
    fn the_refusal_names_the_last_copy() {
        let folder = used_folder();
        let copy = Store::open(folder.path()).unwrap().copy().unwrap();
        fs::write(folder.path().join(DATABASE), b"").unwrap();
        assert!(refusal(folder.path()).contains(&copy.display().to_string()));
        fs::copy(copy, folder.path().join(DATABASE)).unwrap();
        assert!(Store::open(folder.path()).is_ok());
    }

    #[test]
    fn a_database_of_a_newer_program_is_refused() {
        let folder = used_folder();
        let connection = Connection::open(folder.path().join(DATABASE)).unwrap();
        connection.pragma_update(None, "user_version", 99).unwrap();
        assert!(refusal(folder.path()).contains("newer covercast"));
        assert!(matches!(Store::look(folder.path()), Err(Fault::Newer { .. })));
    }

    #[test]
    fn nobody_else_can_read_the_state() {
        let outer = tempfile::tempdir().unwrap();
        let folder = outer.path().join("state");
        let store = Store::open(&folder).unwrap();
        store.copy().unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&folder), 0o700);
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            assert_eq!(mode(&path), 0o600, "{}", path.display());
        }
    }

    #[test]
    fn looking_works_before_the_first_start_and_while_the_daemon_runs() {
        let folder = tempfile::tempdir().unwrap();
        assert!(Store::look(folder.path()).unwrap().is_none());
        let _daemon = Store::open(folder.path()).unwrap();
        assert!(Store::look(folder.path()).unwrap().is_some());
    }
}
