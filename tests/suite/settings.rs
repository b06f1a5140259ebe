//! The farm folder and the service file: what is understood, and every mistake with its cure.

use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use covercast::settings::{self, Colour, FarmFiles, farm_from_text, service_from_text};
use proptest::prelude::*;

/// Tue 10 March 2026, 05:30 in New Zealand (daylight time, UTC+13).
const NOW: &str = "2026-03-09T16:30:00Z";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn text(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap()
}

/// A farm folder that may be spoilt.
struct Folder(tempfile::TempDir);

impl Folder {
    /// The good farm with the files of a case laid over it.
    fn with(case: &str) -> Self {
        let folder = tempfile::Builder::new().prefix("farm-").tempdir().unwrap();
        for from in ["good", case] {
            for entry in fs::read_dir(root().join("tests/data/config").join(from)).unwrap() {
                let path = entry.unwrap().path();
                if !path.ends_with("expected.txt") {
                    fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
                }
            }
        }
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(self, name: &str, bytes: impl AsRef<[u8]>) -> Self {
        fs::write(self.path(name), bytes).unwrap();
        self
    }

    fn check(&self) -> Output {
        check(self.0.path(), &[])
    }

    /// What `check` says, with the folder's own name taken out.
    fn says(&self) -> (Option<i32>, String) {
        let output = self.check();
        let said = format!(
            "{}{}",
            String::from_utf8(output.stdout).unwrap(),
            String::from_utf8(output.stderr).unwrap()
        );
        let real = self.0.path().canonicalize().unwrap();
        (
            output.status.code(),
            said.replace(&real.display().to_string(), "FARM")
                .replace(&self.0.path().display().to_string(), "FARM"),
        )
    }
}

fn check(folder: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_covercast"));
    command
        .args(["check", "--now", NOW, "--farm"])
        .arg(folder)
        .args(more)
        .output()
        .unwrap()
}

/// Each folder in tests/data/config holds what differs from `good`, and what is said about it. With the
/// variable UPDATE_EXPECTED set the texts are written anew: read the difference before keeping it.
#[test]
fn every_broken_farm_is_told_what_is_wrong_where_and_what_to_do() {
    let mut cases: Vec<String> = fs::read_dir(root().join("tests/data/config"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    cases.sort();
    assert!(cases.len() > 30, "{cases:?}");
    let mut faults = Vec::new();
    for case in &cases {
        let (code, said) = Folder::with(case).says();
        // Time zone rules come with the program or the system; their version is no part of the promise.
        let said = said.replace(&settings::ZoneData::newest().version, "VERSION");
        let expected = root().join("tests/data/config").join(case).join("expected.txt");
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            fs::write(&expected, &said).unwrap();
        }
        let wanted = fs::read_to_string(&expected).unwrap_or_default();
        let good = case == "good" || case.starts_with("remark-");
        if code != Some(if good { 0 } else { 2 }) || said != wanted {
            faults.push(format!("== {case}: exit {code:?}\n{said}"));
        }
        for line in said.lines().filter(|line| line.chars().count() > 100) {
            faults.push(format!("== {case}: over 100 columns: {line}"));
        }
        assert!(!said.contains("canary"), "{case} repeats a secret: {said}");
        assert!(!said.contains('\u{1b}'), "{case} sends escape codes into a pipe");
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_mistakes_of_one_file_do_not_hide_those_of_another() {
    let folder = Folder::with("many").write("farm.toml", "[site\n");
    let (code, said) = folder.says();
    assert_eq!(code, Some(2));
    for place in [
        "farm.toml:1:",
        "harvest.csv:2:12",
        "harvest.csv:3:",
        "service.toml:2:1",
        "service.toml:18:8",
    ] {
        assert!(said.contains(place), "{place} is not named in {said}");
    }
}

#[test]
fn carriage_returns_and_byte_order_marks_change_nothing() {
    let (code, plain) = Folder::with("good").says();
    assert_eq!(code, Some(0), "{plain}");
    let mut folder = Folder::with("good");
    for name in ["farm.toml", "harvest.csv", "service.toml"] {
        let windows = format!(
            "\u{feff}{}",
            fs::read_to_string(folder.path(name)).unwrap().replace('\n', "\r\n")
        );
        folder = folder.write(name, windows);
    }
    assert_eq!(folder.says(), (Some(0), plain));
}

#[test]
fn what_is_no_proper_file_is_refused() {
    let missing = Folder::with("good");
    fs::remove_file(missing.path("harvest.csv")).unwrap();
    let instead = Folder::with("good");
    fs::remove_file(instead.path("farm.toml")).unwrap();
    fs::create_dir(instead.path("farm.toml")).unwrap();
    let link = Folder::with("good");
    fs::remove_file(link.path("harvest.csv")).unwrap();
    std::os::unix::fs::symlink("/etc/passwd", link.path("harvest.csv")).unwrap();
    let big = Folder::with("good").write("harvest.csv", vec![b'x'; 2 << 20]);
    let zero = Folder::with("good").write("farm.toml", b"[site]\nname = \"a\0b\"\n");
    for (folder, wanted) in [
        (missing, "harvest.csv: is not in the folder"),
        (instead, "farm.toml: is not a file"),
        (link, "harvest.csv: is a link out of the folder"),
        (big, "harvest.csv: is too big: 2048 kB; at most 1024 kB are read"),
        (zero, "is not a text file"),
    ] {
        let (code, said) = folder.says();
        assert_eq!(code, Some(2));
        assert!(said.contains(wanted), "{wanted}: {said}");
    }
    let nowhere = check(Path::new("/nonexistent"), &[]);
    assert_eq!(nowhere.status.code(), Some(2));
    let unasked = check(
        root().join("tests/data/config/good").as_path(),
        &["--service", "/nonexistent.toml"],
    );
    assert_eq!(unasked.status.code(), Some(2));
}

#[test]
fn a_password_open_to_others_is_refused_and_never_shown() {
    let folder = Folder::with("secret-missing").write("smtp-password", "canary-91c4\n");
    let mode = |mode| fs::set_permissions(folder.path("smtp-password"), fs::Permissions::from_mode(mode)).unwrap();
    for open in [0o644, 0o640, 0o602] {
        mode(open);
        let (code, said) = folder.says();
        assert_eq!(code, Some(2));
        assert!(
            said.contains(&format!("(mode {open:o})")) && said.contains("smtp-password"),
            "{said}"
        );
        assert!(!said.contains("canary"), "{said}");
    }
    mode(0o600);
    let (code, said) = folder.says();
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("through mail.example.org, port 465") && !said.contains("canary"),
        "{said}"
    );
}

#[test]
fn a_good_folder_says_when_the_next_letters_come() {
    let cron = "cron = \"0 15 6 * * MON-FRI\"";
    let service = fs::read_to_string(Folder::with("good").path("service.toml")).unwrap();
    let folder = Folder::with("good").write("service.toml", service.replace("letter_at = \"05:30\"", cron));
    let (code, said) = folder.says();
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("Next letters\n  Tue 10 Mar 2026 06:15\n  Wed 11 Mar 2026 06:15\n  Thu 12 Mar 2026 06:15\n"),
        "{said}"
    );
}

#[test]
fn a_folder_without_service_file_is_read_with_the_usual_letter_time() {
    let folder = Folder::with("good");
    fs::remove_file(folder.path("service.toml")).unwrap();
    let (code, said) = folder.says();
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("Next letters (no service file yet: the usual time)\n  Wed 11 Mar 2026 05:30\n"),
        "{said}"
    );
}

/// 1 ft = 0.3048 m (NIST SP 811 appendix B): 12 rows of 108 m and 72, 75, 78 m less 6 m are 1515 m.
#[test]
fn a_farm_that_reads_feet_is_told_feet() {
    let farm = fs::read_to_string(Folder::with("good").path("farm.toml")).unwrap();
    let folder = Folder::with("good").write(
        "farm.toml",
        farm.replace("[[people]]", "units = \"imperial\"\n\n[[people]]"),
    );
    let (code, said) = folder.says();
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("4,970 ft of cover") && said.contains("7.9 ft wide cover"),
        "{said}"
    );
    assert!(!said.contains(" m of "), "{said}");
}

#[test]
fn a_letter_after_the_start_of_work_and_a_picking_that_is_over_are_said() {
    let service = fs::read_to_string(Folder::with("good").path("service.toml")).unwrap();
    let harvest = "block,variety,first pick,last pick\nCreek,Gala,2026-02-16,2026-02-21\n";
    let folder = Folder::with("good")
        .write("service.toml", service.replace("05:30", "08:00"))
        .write("harvest.csv", harvest);
    let (code, said) = folder.says();
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("The letter comes at 08:00, after work begins at 07:00."),
        "{said}"
    );
    assert!(said.contains("Creek: its picking is over"), "{said}");
    assert!(said.contains("Hill: first pick not known"), "{said}");
}

/// Keys written in a sample file, commented out or not, with their table in front.
fn written_keys(sample: &str) -> BTreeSet<String> {
    let mut keys = BTreeSet::new();
    let mut table = String::new();
    for line in sample.lines().map(|line| line.strip_prefix('#').unwrap_or(line)) {
        if let Some(head) = line.strip_prefix('[') {
            table = format!("{}.", head.trim_start_matches('[').split(']').next().unwrap());
        } else if let Some((key, _)) = line.split_once(" = ")
            && key
                .chars()
                .all(|sign| sign.is_ascii_lowercase() || sign.is_ascii_digit() || sign == '_')
        {
            keys.insert(format!("{table}{key}"));
        }
    }
    keys
}

/// A sample with every key in force.
fn uncommented(sample: &str) -> String {
    let key = |line: &&str| {
        line.starts_with(|sign: char| sign.is_ascii_lowercase() || "[]".contains(sign)) || line.starts_with("  { ")
    };
    sample
        .lines()
        .map(|line| line.strip_prefix('#').filter(key).unwrap_or(line).to_owned() + "\n")
        .collect()
}

fn sample_farm(farm: &str) -> Result<settings::LoadedFarm, settings::Mistakes> {
    farm_from_text(&FarmFiles {
        folder_name: "sample",
        farm,
        harvest: &text("config/harvest.csv"),
        blackouts: Some(&text("config/blackouts.csv")),
    })
}

#[test]
fn every_key_is_explained_in_the_sample_files_and_nothing_else_is() {
    for (file, known) in [
        ("config/farm.toml", settings::farm_keys()),
        ("config/service.toml", settings::service_keys()),
    ] {
        let known: BTreeSet<String> = known.into_iter().collect();
        // The numbers of an alley may stand in a block too and are explained once.
        let written: BTreeSet<String> = written_keys(&text(file))
            .into_iter()
            .filter(|key| known.contains(key) || !known.contains(&key.replace("block.", "alley.")))
            .collect();
        assert_eq!(written, known, "{file}");
    }
    for line in text("config/farm.toml")
        .lines()
        .chain(text("config/service.toml").lines())
    {
        assert!(line.chars().count() <= 120, "too long: {line}");
    }
}

#[test]
fn the_numbers_of_an_alley_stand_in_the_sample_with_their_default_and_range() {
    let sample = text("config/farm.toml");
    let unit = |unit: &str| {
        if unit.is_empty() {
            String::new()
        } else {
            format!(" {}", unit.replace("deg", "degrees"))
        }
    };
    for number in covercast::alley::Alley::NUMBERS {
        let key = format!("#{} = {}", number.name, number.default);
        let range = format!(
            "# {} to {}{}. {}.",
            number.min,
            number.max,
            unit(number.unit),
            number.meaning
        );
        let explained = sample.lines().any(|line| {
            line.split(' ').eq(key
                .split(' ')
                .chain(line[key.len().min(line.len())..].split(' ').skip(1)))
                && line.ends_with(&range)
        });
        let elsewhere = ["lat", "lon", "alt_m", "utc_offset_h"].contains(&number.name);
        assert!(explained != elsewhere, "wanted: {key}  {range}");
    }
}

#[test]
fn the_samples_are_good_as_they_stand_and_with_every_key_in_force() {
    let sample = text("config/farm.toml");
    let plain = sample_farm(&sample).unwrap();
    let full = sample_farm(&uncommented(&sample)).unwrap();
    assert!(
        plain.remarks.is_empty() && full.remarks.is_empty(),
        "{:?} {:?}",
        plain.remarks,
        full.remarks
    );
    assert_eq!(plain.farm.limits, covercast::farm::limits::Limits::default());
    // A commented-out key shows the value in force, so all of them change nothing but what only the grower knows.
    assert_eq!(plain.farm.limits, full.farm.limits);
    assert_eq!(plain.farm.costs, full.farm.costs);
    assert_eq!(plain.farm.crew, full.farm.crew);
    assert_eq!(plain.farm.people, full.farm.people);
    assert_eq!(
        plain.farm.sets.first().map(|set| set.roll_length),
        full.farm.sets.first().map(|set| set.roll_length)
    );
    let mut usual = covercast::alley::Alley::default();
    (usual.lat, usual.lon, usual.alt_m) = (44.1, 12.2, 35.0);
    assert_eq!(plain.farm.blocks[1].alley, usual);
    assert_eq!(full.farm.blocks[1].alley, usual);
}

#[test]
fn the_service_sample_is_good_with_either_way_of_mail() {
    let folder = tempfile::tempdir().unwrap();
    let now = NOW.parse().unwrap();
    let sample = text("config/service.toml");
    let plain = service_from_text(&sample, folder.path(), now).unwrap();
    assert!(plain.remarks.is_empty(), "{:?}", plain.remarks);
    for secret in ["weather-key", "smtp-password", "own-ca.pem"] {
        fs::write(folder.path().join(secret), "x").unwrap();
        fs::set_permissions(folder.path().join(secret), fs::Permissions::from_mode(0o600)).unwrap();
    }
    // A service's station, and codes of regions, go with kinds that are not in the sample.
    let full = uncommented(&sample)
        .replace("station = ", "# station = ")
        .replace("codes = ", "# codes = ");
    let (full, stations) = full.split_once("[[station]]").unwrap();
    let without = |keys: &[&str]| -> String {
        full.lines()
            .filter(|line| !keys.iter().any(|key| line.starts_with(&format!("{key} ="))))
            .map(|line| line.to_owned() + "\n")
            .collect()
    };
    let files = without(&[
        "cron",
        "host",
        "port",
        "tls",
        "user",
        "password_file",
        "root_certificate",
        "key_file",
        "models",
    ]);
    // Every commented-out key shows the value in force.
    assert_eq!(service_from_text(&files, folder.path(), now).unwrap(), plain);
    let smtp = without(&["letter_at", "folder"]).replace("transport = \"files\"", "transport = \"smtp\"");
    let smtp = service_from_text(&smtp, folder.path(), now).unwrap();
    assert!(smtp.remarks.is_empty(), "{:?}", smtp.remarks);
    assert_eq!(
        smtp.service.daemon.letter,
        covercast::daemon::LetterTime::Cron("0 30 5 * * MON-SAT".to_owned())
    );
    fs::write(folder.path().join("mqtt-password"), "x").unwrap();
    fs::set_permissions(folder.path().join("mqtt-password"), fs::Permissions::from_mode(0o600)).unwrap();
    let with = format!("{sample}\n[[station]]{stations}");
    let with = service_from_text(&with, folder.path(), now).unwrap();
    assert!(with.remarks.is_empty(), "{:?}", with.remarks);
    assert_eq!(with.service.stations.len(), 3);
    assert_eq!(plain.service.stations, []);
}

#[test]
fn the_demo_farm_is_good() {
    let loaded = farm_from_text(&FarmFiles {
        folder_name: "farm",
        farm: &text("demo-data/farm/farm.toml"),
        harvest: &text("demo-data/farm/harvest.csv"),
        blackouts: Some(&text("demo-data/farm/blackouts.csv")),
    })
    .unwrap();
    let farm = &loaded.farm;
    assert!(
        loaded.remarks.is_empty(),
        "{}",
        settings::draw_remarks(&loaded.remarks, Colour::Plain)
    );
    assert_eq!(farm.blocks.len(), 8);
    let varieties: BTreeSet<&str> = farm.blocks.iter().map(|block| block.variety.as_str()).collect();
    assert_eq!(varieties.len(), 3);
    let set = &farm.sets[0];
    assert_eq!(
        set.blocks.iter().map(|block| block.0.as_str()).collect::<Vec<_>>(),
        ["Gate", "Creek", "Hill", "Long"]
    );
    let shared: BTreeSet<&str> = set
        .blocks
        .iter()
        .map(|id| farm.block(id).unwrap().variety.as_str())
        .collect();
    assert_eq!(shared.len(), 2, "two varieties share a set");
    // 12 rows of differing length, 1 m kept free at each end: 1296.5 m less 24 m.
    assert!((farm.blocks[0].cover().0 - 1272.5).abs() < 1e-9);
    assert_eq!(
        farm.blackouts[0].to.to_rfc3339(),
        "2026-03-10T21:00:00+00:00",
        "10:00 of 11 March at UTC+13"
    );
    service_from_text(
        &text("demo-data/farm/service.toml"),
        Path::new("."),
        NOW.parse().unwrap(),
    )
    .unwrap();
    let output = check(&root().join("demo-data/farm"), &[]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(
        said.contains("8 blocks, 77 rows, 8,166 m of cover if all lay out."),
        "{said}"
    );
    assert!(
        said.contains("\n  Wed 11 Mar 2026 05:30\n  Thu 12 Mar 2026 05:30\n  Fri 13 Mar 2026 05:30\n"),
        "{said}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// A file spoilt anywhere is read or refused, never a crash; what is said points into the file and holds
    /// nothing that moves a cursor.
    #[test]
    fn a_file_spoilt_anywhere_is_read_or_refused(at in 0_usize..20_000, cut in 0_usize..40, put in "[\\[\\]\"'=,.\\-0-9a-z\u{1b}\u{202e}\n]{0,6}") {
        let mut all = [uncommented(&text("config/farm.toml")), text("config/harvest.csv"), text("config/blackouts.csv")];
        for which in 0..3 {
            let whole = all[which].clone();
            let start = at % whole.len();
            let start = (start..whole.len()).find(|at| whole.is_char_boundary(*at)).unwrap_or(whole.len());
            let end = (start + cut..whole.len()).find(|at| whole.is_char_boundary(*at)).unwrap_or(whole.len());
            all[which] = format!("{}{put}{}", &whole[..start], &whole[end..]);
            let read = farm_from_text(&FarmFiles { folder_name: "x", farm: &all[0], harvest: &all[1], blackouts: Some(&all[2]) });
            if let Err(mistakes) = read {
                prop_assert!(!mistakes.all().is_empty());
                for mistake in mistakes.all() {
                    let file = &all[settings::FARM_FILES.iter().position(|name| *name == mistake.file).unwrap()];
                    prop_assert!(mistake.line <= file.matches('\n').count() + 1);
                }
                let drawn = mistakes.to_string();
                prop_assert!(!drawn.contains(['\u{1b}', '\u{202e}', '\r']), "{:?}", drawn);
            }
            all[which] = whole;
        }
    }
}

#[test]
fn codes_of_regions_go_with_warnings_and_are_told_apart_from_nonsense() {
    let folder = tempfile::tempdir().unwrap();
    let sample = text("config/service.toml");
    let with = |kind: &str, codes: &str| {
        let block = format!(
            "[[weather]]\nname = \"official\"\nkind = \"{kind}\"\nbase_url = \"https://office.example/feed\"\n{codes}\n\n[mail]"
        );
        service_from_text(&sample.replace("[mail]", &block), folder.path(), NOW.parse().unwrap())
    };
    let read = with("cap", "codes = [\"EMMA_ID:NL018\", \"812069018\"]").unwrap();
    let codes = &read.service.sources.services.last().unwrap().codes;
    assert_eq!(codes.len(), 2);
    assert!(
        codes
            .iter()
            .any(|code| code.system == "EMMA_ID" && code.value == "NL018")
    );
    for (kind, codes, said) in [
        ("cap", "codes = \"NL018\"", "a list of codes of regions"),
        ("cap", "codes = [\"<NL018>\"]", "codes cannot be used"),
        ("cap", "codes = [\"EMMA_ID:\"]", "codes cannot be used"),
        (
            "open-meteo-forecast",
            "codes = [\"NL018\"]",
            "codes does not go with kind",
        ),
    ] {
        let mistakes = with(kind, codes).unwrap_err().to_string();
        assert!(
            mistakes.contains(said) && mistakes.contains("weather official"),
            "{mistakes}"
        );
    }
}
