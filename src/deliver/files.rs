//! Messages into a folder, one `.eml` file each, instead of a mail server.

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::Path;

use super::outcome::{Outcome, Site};

/// Writes `KEY.eml`: beside, flushed, renamed. Doing it twice leaves one file.
pub fn write(folder: &Path, key: &str, message: &[u8]) -> Outcome {
    match place(folder, key, message) {
        Ok(()) => Outcome::Accepted,
        Err(error) => Outcome::Site(Site::Own(format!(
            "cannot write mail into {}: {error}; it waits and is tried again by itself",
            folder.display()
        ))),
    }
}

fn place(folder: &Path, key: &str, message: &[u8]) -> std::io::Result<()> {
    DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
    let (path, fresh) = (folder.join(format!("{key}.eml")), folder.join(format!(".{key}.new")));
    match fs::remove_file(&fresh) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&fresh)?;
    file.write_all(message)?;
    file.sync_all()?;
    fs::rename(&fresh, &path)?;
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_written_twice_is_one_file() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("mail");
        assert_eq!(write(&out, "2026-03-10-morning", b"one"), Outcome::Accepted);
        assert_eq!(write(&out, "2026-03-10-morning", b"one"), Outcome::Accepted);
        let names: Vec<_> = fs::read_dir(&out)
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .collect();
        assert_eq!(names, ["2026-03-10-morning.eml"]);
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_no_fault_of_the_message() {
        let file = tempfile::NamedTempFile::new().unwrap();
        assert!(matches!(
            write(&file.path().join("mail"), "key", b"one"),
            Outcome::Site(Site::Own(_))
        ));
    }
}
