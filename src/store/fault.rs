//! What can be wrong with the state folder.

use std::path::PathBuf;

/// Why the store could not do its work. Each text says what is unknown now and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The folder or a file in it cannot be used.
    #[error("{what} {}: {source}; nothing was changed; check the owner and free space of the state folder", path.display())]
    Folder {
        /// What was tried ("cannot create").
        what: &'static str,
        /// On which path.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// There was a database once and now there is none.
    #[error(
        "{} is gone, but one existed before: what was laid and lifted, which letters went out and what still waits is not known; \
         put {} back, or delete {} to begin anew with nothing reported",
        path.display(), copy_hint(copy.as_ref()), marker.display()
    )]
    Gone {
        /// Where it should be.
        path: PathBuf,
        /// The last copy, if there is one.
        copy: Option<PathBuf>,
        /// The file that remembers.
        marker: PathBuf,
    },
    /// The database does not read as one.
    #[error(
        "{} is damaged ({how}) and was left as it is: what was laid and lifted, which letters went out and what still waits is not \
         known; move it away and put {} in its place",
        path.display(), copy_hint(copy.as_ref())
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// In which way.
        how: String,
        /// The last copy, if there is one.
        copy: Option<PathBuf>,
    },
    /// A later program wrote it.
    #[error(
        "{} has schema {found}, this program knows up to {known}: it was written by a newer covercast; \
         install that one again, or put the copy made before the change in its place",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its schema.
        found: i64,
        /// Ours.
        known: i64,
    },
    /// The database refused.
    #[error("the database did not take it: {0}; nothing was stored, the next try comes by itself")]
    Sql(#[from] rusqlite::Error),
    /// A row does not read as what it should be.
    #[error("the database holds something unreadable in {what}: {detail}; it was left as it is")]
    Unreadable {
        /// Which table.
        what: &'static str,
        /// How.
        detail: String,
    },
}

fn copy_hint(copy: Option<&PathBuf>) -> String {
    copy.map_or_else(
        || "your own copy of it".to_owned(),
        |copy| format!("the last daily copy {}", copy.display()),
    )
}
