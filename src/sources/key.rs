//! The key of a service: read from its file when it is needed, never printed.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use super::fault::What;

/// A secret. It has no `Debug` and no `Display`, so that it cannot slip into a log.
pub(super) struct Key(String);

impl Key {
    /// Reads a key file; one that everybody may read is refused.
    pub(super) fn read(path: &Path) -> Result<Self, What> {
        let refused = |why: &str| Err(What::Settings(format!("the key file {} {why}", path.display())));
        let Ok(about) = fs::metadata(path) else {
            return refused("cannot be found; write the key into it or take key_file out");
        };
        if about.permissions().mode() & 0o007 != 0 {
            return refused("can be read by everybody on this machine; run chmod 600 on it");
        }
        if about.len() > 4096 {
            return refused("is too long for a key; it must hold the key and nothing else");
        }
        let Ok(text) = fs::read_to_string(path) else {
            return refused("cannot be read; give it to the user that runs this program");
        };
        let key = text.trim();
        if key.is_empty() || !key.chars().all(|sign| sign.is_ascii_graphic()) {
            return refused("holds no key; write the key into it, on one line");
        }
        Ok(Self(key.to_owned()))
    }

    /// The key itself, for the request and for nothing else.
    pub(super) fn reveal(&self) -> &str {
        &self.0
    }

    /// A text with the key blotted out.
    pub(super) fn blotted(&self, text: &str) -> String {
        text.replace(&self.0, "…")
    }
}
