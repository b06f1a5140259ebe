//! Files of a farm folder, read with a cap; what cannot be read says why.

use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::os::unix::fs::PermissionsExt;
use std::path::{Component, Path, PathBuf};

use super::mistake::{Finding, Text};

/// Most bytes of one file.
const MOST_BYTES: u64 = 1 << 20;

/// Most bytes of a password or key.
const MOST_SECRET_BYTES: u64 = 4096;

/// The text of a file; `None` if it is not there.
///
/// # Errors
/// A folder, a pipe, a file over 1 MiB, a link out of `folder`, or bytes that are not UTF-8.
pub(super) fn read(path: &Path, name: &str, folder: &Path) -> Result<Option<Text>, Box<Finding>> {
    let refuse = |what: &str, cure: &str| Err(Box::new(Finding::whole(name, what, cure)));
    let meta = match fs::metadata(path) {
        Ok(meta) => meta,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return refuse(&format!("cannot be read: {error}"), "look at its owner and rights"),
    };
    if !meta.is_file() {
        return refuse("is not a file", "put a plain text file of that name there");
    }
    if meta.len() > MOST_BYTES {
        return refuse(&too_big(meta.len()), "a farm file is a few kB; is it the right one?");
    }
    if leaves(path, folder) {
        return refuse("is a link out of the folder", "put the file itself into the folder");
    }
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes));
    match read {
        Err(error) => refuse(&format!("cannot be read: {error}"), "look at its owner and rights"),
        // It may have grown since it was measured.
        Ok(length) if length as u64 > MOST_BYTES => refuse(&too_big(length as u64), "is it the right one?"),
        Ok(_) => decode(name, &bytes).map(Some),
    }
}

fn too_big(bytes: u64) -> String {
    format!("is too big: {} kB; at most 1024 kB are read", bytes.div_ceil(1024))
}

/// UTF-8 text with or without byte-order mark.
pub(super) fn decode(name: &str, bytes: &[u8]) -> Result<Text, Box<Finding>> {
    match std::str::from_utf8(bytes) {
        Ok(text) if text.contains('\0') => {
            let text = Text::new(name, text);
            let at = text.text.find('\0').unwrap_or_default();
            Err(Box::new(text.finding(
                at..at + 1,
                "is not a text file",
                "a zero byte stands here",
                "save it as plain UTF-8 text",
            )))
        }
        Ok(text) => Ok(Text::new(name, text)),
        Err(error) => {
            let at = error.valid_up_to();
            let byte = bytes.get(at).copied().unwrap_or_default();
            let text = Text {
                name: name.to_owned(),
                text: String::from_utf8_lossy(bytes).into(),
            };
            let label = format!("byte 0x{byte:02X} here");
            let cure = "save it as UTF-8: \"CSV UTF-8\" in a spreadsheet, \"UTF-8\" in an editor";
            Err(Box::new(text.finding(at..at + 3, "is not UTF-8 text", &label, cure)))
        }
    }
}

/// Whether a path, with links followed, ends outside `folder`.
fn leaves(path: &Path, folder: &Path) -> bool {
    match (path.canonicalize(), folder.canonicalize()) {
        (Ok(path), Ok(folder)) => !path.starts_with(folder),
        _ => false,
    }
}

/// Where a name written in the service file points to: absolute as it is, else below `folder`.
///
/// # Errors
/// In words, if the name climbs out of the folder by `..` or by a link.
pub(super) fn place(name: &str, folder: &Path) -> Result<PathBuf, &'static str> {
    let path = Path::new(name);
    if path.components().any(|part| part == Component::ParentDir) {
        return Err("\"..\" is not allowed");
    }
    if path.is_absolute() {
        return Ok(path.to_path_buf());
    }
    let joined: PathBuf = folder.join(path).components().collect();
    if joined.exists() && leaves(&joined, folder) {
        return Err("is a link out of the folder of the service file");
    }
    Ok(joined)
}

/// What speaks against a file with a password or key, called `shown`; its content is never part of the answer.
pub(super) fn secret_fault(path: &Path, shown: &str) -> Option<String> {
    match fs::metadata(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => Some(format!("{shown} is not there")),
        Err(error) => Some(format!("{shown} cannot be looked at: {error}")),
        Ok(meta) if !meta.is_file() => Some(format!("{shown} is not a file")),
        Ok(meta) if meta.permissions().mode() & 0o077 != 0 => {
            let mode = meta.permissions().mode() & 0o777;
            Some(format!("{shown} can be read or written by others (mode {mode:03o})"))
        }
        Ok(meta) if meta.len() == 0 => Some(format!("{shown} is empty")),
        Ok(meta) if meta.len() > MOST_SECRET_BYTES => Some(format!("{shown} is too long for a password or key")),
        Ok(_) => File::open(path)
            .err()
            .map(|error| format!("{shown} cannot be read: {error}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_may_not_climb_out_of_its_folder() {
        let folder = tempfile::tempdir().unwrap();
        assert!(place("../state", folder.path()).is_err());
        assert!(place("a/../../state", folder.path()).is_err());
        assert_eq!(place("./state", folder.path()).unwrap(), folder.path().join("state"));
        assert_eq!(
            place("/var/lib/covercast", folder.path()).unwrap(),
            Path::new("/var/lib/covercast")
        );
        std::os::unix::fs::symlink("/etc", folder.path().join("out")).unwrap();
        assert!(place("out", folder.path()).is_err());
    }

    #[test]
    fn a_secret_open_to_others_is_refused_without_its_content() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("password");
        assert!(secret_fault(&path, "password").unwrap().contains("is not there"));
        fs::write(&path, "canary-7f3a").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        let fault = secret_fault(&path, "password").unwrap();
        assert!(fault.contains("mode 640") && !fault.contains("canary"), "{fault}");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        assert_eq!(secret_fault(&path, "password"), None);
    }

    #[test]
    fn what_is_no_text_is_refused_with_its_line() {
        let fault = decode("harvest.csv", b"block\nCreek\nCa\xf1\xf3n\n").unwrap_err();
        assert_eq!((fault.line, fault.column), (3, 3));
        assert_eq!(fault.at, "byte 0xF1 here");
        assert_eq!(
            decode("harvest.csv", b"\xef\xbb\xbfblock").unwrap().text.as_ref(),
            "block"
        );
        assert!(decode("farm.toml", b"a\0b").is_err());
        let folder = tempfile::tempdir().unwrap();
        assert!(
            read(folder.path(), "farm.toml", folder.path())
                .unwrap_err()
                .what
                .contains("not a file")
        );
        let big = folder.path().join("farm.toml");
        fs::write(&big, vec![b'#'; 1_100_000]).unwrap();
        assert!(
            read(&big, "farm.toml", folder.path())
                .unwrap_err()
                .what
                .contains("too big")
        );
        assert_eq!(read(&folder.path().join("none"), "none", folder.path()), Ok(None));
    }
}
