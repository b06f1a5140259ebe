//! One daemon per state folder, held by a lock that a crash lets go.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::fs::{FlockOperation, flock};

use super::fault::Fault;

/// Looks at a lock this often while another process may be letting go of it.
const LOOK: Duration = Duration::from_millis(100);
/// How many looks before giving up: one second.
const LOOKS: u32 = 10;

/// Held as long as it lives. The kernel lets go when the process ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

/// What came of trying to take the lock.
#[derive(Debug)]
pub enum Taken {
    /// It is ours.
    Ours(Lock),
    /// Another process has it.
    Theirs(Holder),
}

/// Who holds the lock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Process number, if it could be read.
    pub pid: Option<u32>,
    /// The lock file.
    pub path: PathBuf,
}

impl std::fmt::Display for Holder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.pid {
            Some(pid) => write!(f, "process {pid} holds {}", self.path.display()),
            None => write!(f, "another process holds {}", self.path.display()),
        }
    }
}

impl Lock {
    /// Takes the lock of a state folder that exists, waiting up to one second for a process that is ending.
    pub fn take(folder: &Path) -> Result<Taken, Fault> {
        let path = folder.join("lock");
        let fault = |what, source| Fault::Folder {
            what,
            path: path.clone(),
            source,
        };
        let mut file = open(&path).map_err(|source| fault("cannot open", source))?;
        for look in 0..=LOOKS {
            match flock(&file, FlockOperation::NonBlockingLockExclusive) {
                Ok(()) => {
                    // On a full disk the lock still holds; only the holder's number is missing.
                    let _ = write_pid(&mut file);
                    return Ok(Taken::Ours(Self { _file: file }));
                }
                Err(rustix::io::Errno::WOULDBLOCK) if look < LOOKS => std::thread::sleep(LOOK),
                Err(rustix::io::Errno::WOULDBLOCK) => break,
                Err(errno) => return Err(fault("cannot lock", errno.into())),
            }
        }
        Ok(Taken::Theirs(Holder {
            pid: read_pid(&mut file),
            path,
        }))
    }

    /// Who holds the lock now, without taking it for longer than the look.
    pub fn holder(folder: &Path) -> Option<Holder> {
        let path = folder.join("lock");
        let mut file = File::open(&path).ok()?;
        match flock(&file, FlockOperation::NonBlockingLockShared) {
            Err(rustix::io::Errno::WOULDBLOCK) => Some(Holder {
                pid: read_pid(&mut file),
                path,
            }),
            _ => None,
        }
    }
}

fn open(path: &Path) -> std::io::Result<File> {
    OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(path)
}

fn write_pid(file: &mut File) -> std::io::Result<()> {
    file.set_len(0)?;
    file.rewind()?;
    writeln!(file, "{}", std::process::id())
}

fn read_pid(file: &mut File) -> Option<u32> {
    let mut text = String::new();
    file.rewind().ok()?;
    file.take(32).read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_daemon_is_told_who_holds_the_folder() {
        let folder = tempfile::tempdir().unwrap();
        let Taken::Ours(first) = Lock::take(folder.path()).unwrap() else {
            panic!("not ours")
        };
        let Taken::Theirs(holder) = Lock::take(folder.path()).unwrap() else {
            panic!("both have it")
        };
        assert_eq!(holder.pid, Some(std::process::id()));
        assert_eq!(Lock::holder(folder.path()).unwrap().pid, holder.pid);
        drop(first);
        assert_eq!(Lock::holder(folder.path()), None);
        assert!(matches!(Lock::take(folder.path()).unwrap(), Taken::Ours(_)));
    }
}
