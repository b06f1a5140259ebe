//! A password from a file: never printed, never kept longer than a dialogue.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// A password. It has neither `Debug` nor `Display`, so no log can hold it.
pub struct Secret(String);

/// Why a secret file cannot be used. The text names the file, never its content.
#[derive(Debug, thiserror::Error)]
pub enum SecretFault {
    /// Not there or not readable.
    #[error("cannot read the password file {}: {source}; mail waits until it can be read", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// Others may read it.
    #[error("others may read the password file {} (mode {mode:03o}); mail waits until `chmod 600` has been done", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Its rights.
        mode: u32,
    },
    /// Nothing in it.
    #[error("the password file {} is empty; mail waits until it holds the password", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
}

impl Secret {
    /// Reads the first line of a file that others may not read.
    pub fn from_file(path: &Path) -> Result<Self, SecretFault> {
        let unreadable = |source| SecretFault::Unreadable {
            path: path.to_owned(),
            source,
        };
        let mode = fs::metadata(path).map_err(unreadable)?.permissions().mode() & 0o777;
        if mode & 0o007 != 0 {
            return Err(SecretFault::Open {
                path: path.to_owned(),
                mode,
            });
        }
        let text = fs::read_to_string(path).map_err(unreadable)?;
        match text.lines().next() {
            Some(line) if !line.is_empty() => Ok(Self(line.to_owned())),
            _ => Err(SecretFault::Empty { path: path.to_owned() }),
        }
    }

    /// The password, for the one place that hands it over.
    pub(super) fn reveal(self) -> String {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_file_that_others_may_read_is_refused_without_telling_its_content() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("password");
        fs::write(&path, "canary-7f3a\n").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        let Err(fault) = Secret::from_file(&path) else {
            panic!("taken")
        };
        assert!(
            fault.to_string().contains("mode 644") && !format!("{fault:?}{fault}").contains("canary"),
            "{fault}"
        );
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        assert_eq!(Secret::from_file(&path).unwrap().reveal(), "canary-7f3a");
        fs::write(&path, "\n").unwrap();
        assert!(matches!(Secret::from_file(&path), Err(SecretFault::Empty { .. })));
    }
}
