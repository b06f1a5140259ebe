//! The take-off: what is counted, cut and labelled, and what it says when something cannot be.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use covercast::advice::chart::png_of_width;
use covercast::farm::Farm;
use covercast::farm::block::BlockId;
use covercast::plan::takeoff::code::is_whole;
use covercast::plan::takeoff::{Decimetres, Problem, Takeoff, take_off};
use covercast::settings::{FarmFiles, farm_from_text, load_farm};
use covercast::units::Metres;
use proptest::prelude::*;

use crate::charts::boxes;

fn demo() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/farm"))
}

fn larkrise() -> Farm {
    load_farm(demo()).unwrap().farm
}

fn run(farm: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_covercast"))
        .arg("takeoff")
        .arg("--farm")
        .arg(farm)
        .args(arguments)
        .output()
        .unwrap()
}

fn printed(farm: &Path, arguments: &[&str]) -> String {
    let output = run(farm, arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn metres(value: f64) -> Decimetres {
    Decimetres::nearest(Metres(value))
}

fn creek(people: u32) -> Takeoff {
    let mut farm = larkrise();
    farm.crew.people = people;
    take_off(&farm, &[BlockId("Creek".to_owned())]).unwrap()
}

/// Worked example of the planning notes, computed there by hand and by an exact search.
#[test]
fn twelve_rows_come_out_as_computed_by_hand() {
    let counted = creek(4);
    let (all, set) = (&counted.total, &counted.sets[0]);
    assert_eq!((all.parts, all.cover, all.to_cut), (24, metres(1278.5), metres(318.5)));
    let rests: Vec<u64> = counted.blocks[0]
        .parts
        .iter()
        .filter(|part| part.part == 2)
        .map(|part| part.length.0)
        .collect();
    assert_eq!(rests, [365, 365, 360, 345, 325, 305, 275, 245, 215, 175, 125, 85]);
    assert_eq!(
        (set.uncut.len(), set.rolls.len(), set.roll_count(), set.least_rolls),
        (12, 5, 17, 16)
    );
    assert_eq!((set.kept(), set.waste()), (vec![metres(62.5)], metres(19.0)));
    assert_eq!((all.ties, all.ties_to_order(), all.hooks()), (504, 530, 1008));
    assert_eq!((all.cores(), all.labels()), (24, 48));
    let to_hundredths = |hours: f64| format!("{hours:.2}");
    let hours = [
        all.lay.0,
        all.lay_person.0,
        all.lift.0,
        all.lift_person.0,
        all.round_person.0,
    ];
    assert_eq!(hours.map(to_hundredths), ["1.83", "5.75", "1.60", "4.32", "0.28"]);
}

#[test]
fn the_demo_farm_reads_as_it_should() {
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("takeoff", printed(demo(), &[]));
    });
}

#[test]
fn a_farm_that_counts_in_feet_gets_feet_and_inches() {
    let folder = copy(|text| {
        text.replace(
            "zone = \"Pacific/Auckland\"",
            "zone = \"Pacific/Auckland\"\nunits = \"imperial\"",
        )
    });
    let said = printed(folder.path(), &["--block", "Creek"]);
    // 36.5 m = 119 ft 9 in, 80 m = 262 ft 6 in, 1278.5 m = 4194 ft 7 in.
    for words in [
        "119 ft 9 in",
        "17 rolls of 262 ft 6 in",
        "4194 ft 7 in",
        "7 ft 10 in wide",
        "lb of cloth",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(!said.contains(" m "), "{said}");
}

fn copy(change: impl Fn(String) -> String) -> tempfile::TempDir {
    let folder = tempfile::Builder::new().prefix("farm-").tempdir().unwrap();
    for name in ["farm.toml", "harvest.csv"] {
        let text = fs::read_to_string(demo().join(name)).unwrap();
        let text = if name == "farm.toml" { change(text) } else { text };
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

#[test]
fn the_cut_list_for_a_spreadsheet_holds_every_metre_of_every_roll() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cuts.csv");
    let said = printed(demo(), &["--csv", file.to_str().unwrap()]);
    assert!(said.ends_with("cuts.csv is written.\n"), "{said}");
    let mut reader = csv::Reader::from_path(&file).unwrap();
    let mut rolls: BTreeMap<(String, String), i64> = BTreeMap::new();
    let mut codes = BTreeSet::new();
    for line in reader.records() {
        let line = line.unwrap();
        let dm: i64 = line[8].replace('.', "").parse().unwrap();
        *rolls.entry((line[0].to_owned(), line[2].to_owned())).or_default() += dm;
        if !line[10].is_empty() {
            assert!(is_whole(&line[10]), "{}", &line[10]);
            assert!(codes.insert(line[10].to_owned()), "{} stands twice", &line[10]);
        }
    }
    assert!(rolls.len() > 40);
    for (roll, dm) in rolls {
        assert_eq!(dm, 800, "{roll:?}");
    }
}

#[test]
fn the_json_has_exactly_the_keys_of_its_schema() {
    let schema: serde_json::Value =
        serde_json::from_str(include_str!("../../src/cli/takeoff/takeoff.schema.json")).unwrap();
    let value: serde_json::Value = serde_json::from_str(&printed(demo(), &["--json"])).unwrap();
    assert_eq!(value["schema"], "takeoff/1");
    assert_eq!(value["total"]["rows"], 77);
    let faults = crate::takeoff::fits(&value, &schema, &schema, "");
    assert!(faults.is_empty(), "{faults:?}");
}

/// Keys and kinds of a value against the part of JSON Schema that ours use.
pub(crate) fn fits(
    value: &serde_json::Value,
    schema: &serde_json::Value,
    root: &serde_json::Value,
    at: &str,
) -> Vec<String> {
    use serde_json::Value;
    if let Some(name) = schema["$ref"].as_str() {
        return fits(value, root.pointer(name.trim_start_matches('#')).unwrap(), root, at);
    }
    let mut faults = Vec::new();
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(number) if number.is_i64() || number.is_u64() => "integer",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    let allowed: Vec<&str> = match &schema["type"] {
        Value::String(one) => vec![one],
        Value::Array(many) => many.iter().filter_map(Value::as_str).collect(),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::Object(_) => Vec::new(),
    };
    let of_kind = allowed.contains(&kind) || kind == "integer" && allowed.contains(&"number");
    if !allowed.is_empty() && !of_kind {
        faults.push(format!("{at}: {kind}, not {allowed:?}"));
    }
    if schema["const"] != Value::Null && schema["const"] != *value {
        faults.push(format!("{at}: not {}", schema["const"]));
    }
    if let Value::Object(map) = value {
        for key in schema["required"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
        {
            if !map.contains_key(key) {
                faults.push(format!("{at}: no {key}"));
            }
        }
        for (key, inner) in map {
            match schema["properties"].get(key) {
                Some(known) => faults.extend(fits(inner, known, root, &format!("{at}/{key}"))),
                None => faults.push(format!("{at}: {key} is not in the schema")),
            }
        }
    }
    if let Value::Array(items) = value {
        faults.extend(
            items
                .iter()
                .flat_map(|item| fits(item, &schema["items"], root, &format!("{at}[]"))),
        );
    }
    faults
}

#[test]
fn labels_lie_on_the_sheet_and_not_over_one_another_even_with_the_longest_names() {
    let long = |text: String| {
        text.replace("\"Creek\"", "\"WWWWWWWWWWWWWWWWWWWWWWWW\"")
            .replace("\"set A\"", "\"Wide white set WWWWW\"")
    };
    let folder = copy(long);
    fs::write(
        folder.path().join("harvest.csv"),
        "block,variety,first pick,last pick,days either way\n",
    )
    .unwrap();
    for paper in ["a4", "letter"] {
        let file = folder.path().join("labels.svg");
        let block = [
            "--block",
            "WWWWWWWWWWWWWWWWWWWWWWWW",
            "--paper",
            paper,
            "--labels",
            file.to_str().unwrap(),
        ];
        let said = printed(folder.path(), &block);
        let sheets = 3;
        assert_eq!(said.matches(".svg is written.").count(), sheets, "{said}");
        let mut seen = 0;
        for sheet in 1..=sheets {
            let svg = fs::read_to_string(folder.path().join(format!("labels-{sheet:02}.svg"))).unwrap();
            seen += boxes(&svg, paper)
                .iter()
                .filter(|(said, _)| said.starts_with("row ") || said == "offcut")
                .count();
            let png = png_of_width(&svg, 1200.0).unwrap();
            assert_eq!(png.get(1..4), Some(&b"PNG"[..]));
        }
        // 24 parts with two labels each, and one for the offcut that is kept.
        assert_eq!(seen, 49, "{paper}");
    }
}

#[test]
fn all_sheets_stand_in_one_file_if_its_name_ends_in_html() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("labels.html");
    printed(demo(), &["--block", "Creek", "--labels", file.to_str().unwrap()]);
    let html = fs::read_to_string(&file).unwrap();
    assert_eq!(html.matches("<svg ").count(), 3);
    assert!(html.contains("size:A4") && html.contains("sheet 3 of 3"));
    let output = run(demo(), &["--labels", "labels.doc"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("Let it end in .svg, or in .html"));
}

#[test]
fn what_cannot_be_counted_is_said_with_place_and_cure() {
    let said = |change: &dyn Fn(&mut Farm)| {
        let mut farm = larkrise();
        change(&mut farm);
        let problems = take_off(&farm, &[]).unwrap_err();
        problems.iter().map(Problem::to_string).collect::<Vec<_>>().join("\n")
    };
    let block = |farm: &mut Farm| farm.blocks.remove(0);
    type Case = (fn(&mut Farm), &'static str);
    let cases: [Case; 7] = [
        (|farm| farm.blocks[0].rows.clear(), "Creek has no rows."),
        (
            |farm| farm.blocks[0].rows[3] = Metres(2.0),
            "Creek, row 4: 2 m long, and 1 m stay free at each end, so no cover fits.",
        ),
        (
            |farm| farm.sets[0].blocks.retain(|id| id.0 != "Creek"),
            "Creek: no set of covers serves it, so there are no rolls to cut.",
        ),
        (
            |farm| farm.blocks[0].alley.cover_width_m = 2.0,
            "Creek is to have covers 2 m wide, but the rolls of set A are 2.4 m wide.",
        ),
        (
            |farm| farm.blocks[0].alley.row_spacing_m = 2.3,
            "covers 2.4 m wide do not fit between rows 2.3 m apart. Usual is about four fifths of the row spacing: 1.8 m.",
        ),
        (
            |farm| farm.sets[0].roll_length = Metres(0.0),
            "set A: a roll of 0 m cannot be cut into parts that overlap by half a metre.",
        ),
        (
            |farm| farm.blocks[0].alley.tie_spacing_m = 0.0,
            "Creek: ties with no distance between them cannot be counted.",
        ),
    ];
    for (change, words) in cases {
        let text = said(&change);
        assert!(text.contains(words), "{words}: {text}");
    }
    // All at once.
    let text = said(&|farm| {
        farm.blocks[0].rows.clear();
        farm.blocks[1].alley.row_spacing_m = 1.0;
    });
    assert_eq!(text.lines().count(), 2, "{text}");
    let mut fewer = larkrise();
    block(&mut fewer);
    assert_eq!(take_off(&fewer, &[]).unwrap().blocks.len(), 7);
    let output = run(demo(), &["--block", "Crek"]);
    assert_eq!(output.status.code(), Some(2));
    let text = String::from_utf8_lossy(&output.stderr);
    assert!(
        text.contains("no block is called Crek. Blocks of this farm: Creek, Mill"),
        "{text}"
    );
}

#[test]
fn a_set_that_is_too_short_for_all_its_blocks_at_once_is_named() {
    let said = printed(demo(), &[]);
    assert!(
        said.contains("Stock in farm.toml: 2080.0 m. All at once take "),
        "{said}"
    );
    assert!(!printed(demo(), &["--block", "Creek"]).contains("Stock in farm.toml"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_part_comes_off_exactly_one_roll_and_no_metre_is_lost(
        rows in prop::collection::vec(prop::collection::vec(50..4000_u32, 1..30), 2..4),
        roll in 100..3000_u32,
    ) {
        let farm = farm_of(&rows, f64::from(roll) / 10.0);
        let counted = take_off(&farm, &[]).unwrap();
        let mut wanted = BTreeSet::new();
        for block in &counted.blocks {
            let overlaps: u64 = block.parts.iter().filter(|part| part.part > 1).map(|_| 5).sum();
            let cover: Decimetres = block.parts.iter().map(|part| part.length).sum();
            let rows: u64 = farm.block(&block.block).unwrap().rows.iter().map(|row| metres(row.0 - 2.0).0).sum();
            prop_assert_eq!(cover.0 - overlaps, rows);
            wanted.extend(block.parts.iter().map(|part| part.code.clone()));
        }
        let mut cut = Vec::new();
        for set in &counted.sets {
            prop_assert!(set.roll_count() >= set.least_rolls);
            for roll in &set.rolls {
                let used: Decimetres = roll.cuts.iter().map(|cut| cut.part.length).sum();
                prop_assert_eq!(used + roll.left, set.roll_length);
                cut.extend(roll.cuts.iter().map(|cut| cut.part.code.clone()));
            }
            cut.extend(set.uncut.iter().map(|part| part.code.clone()));
            let left: Decimetres = set.kept().into_iter().sum();
            prop_assert_eq!(set.roll_count() as u64 * set.roll_length.0, set.cover.0 + left.0 + set.waste().0);
        }
        prop_assert_eq!(cut.len(), wanted.len());
        prop_assert_eq!(cut.into_iter().collect::<BTreeSet<_>>(), wanted);
    }
}

/// The demo farm with other rows and rolls, all blocks in one set.
fn farm_of(rows: &[Vec<u32>], roll: f64) -> Farm {
    let text = fs::read_to_string(demo().join("farm.toml")).unwrap();
    let files = FarmFiles {
        folder_name: "larkrise",
        farm: &text,
        harvest: "block,variety,first pick,last pick,days either way\n",
        blackouts: None,
    };
    let mut farm = farm_from_text(&files).unwrap().farm;
    farm.blocks.truncate(rows.len());
    farm.sets.truncate(1);
    farm.sets[0].roll_length = Metres(roll);
    farm.sets[0].blocks = farm.blocks.iter().map(|block| block.id.clone()).collect();
    for (block, rows) in farm.blocks.iter_mut().zip(rows) {
        block.rows = rows.iter().map(|row| Metres(f64::from(*row) / 10.0)).collect();
        block.alley.cover_width_m = farm.sets[0].width.0;
        block.end_setback = Metres(1.0);
    }
    farm
}
