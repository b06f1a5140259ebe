//! `covercast plan`: reference cases to the cent, worked examples, answers in words, and refusals.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::{Value, json};

fn covercast(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_covercast"))
        .arg("plan")
        .args(arguments)
        .output()
        .unwrap()
}

fn said(arguments: &[&str]) -> Value {
    let output = covercast(arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn own(name: &str) -> String {
    format!("{}/tests/data/plan/{name}.json", env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &str) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// A case or plan in a file of its own.
fn kept(folder: &tempfile::TempDir, name: &str, value: &Value) -> String {
    let path = folder.path().join(name);
    fs::write(&path, value.to_string()).unwrap();
    path.to_str().unwrap().to_owned()
}

fn reference(name: &str) -> Option<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference/plan_cases");
    let path = |end: &str| folder.join(format!("{name}{end}")).to_str().unwrap().to_owned();
    if !folder.is_dir() {
        println!("skipped: {} is not there", folder.display());
        return None;
    }
    Some((path(".json"), path(".best.json")))
}

const REFERENCE: [&str; 6] = [
    "small-101",
    "small-102",
    "farm-111",
    "farm-112",
    "large-121",
    "coop-131",
];

#[test]
fn the_stored_plans_are_weighed_to_the_cent_and_have_no_violation() {
    for name in REFERENCE {
        let Some((case, best)) = reference(name) else { return };
        let weighed = said(&["--case", &case, "--score", &best]);
        let best = read(&best);
        assert_eq!(weighed["objective_cents"], best["objective_cents"], "{name}");
        assert_eq!(weighed["violations"], json!([]), "{name}");
        assert_eq!(weighed["plan"], best["plan"], "{name}");
        assert!(
            weighed["bound_cents"].as_i64() >= best["objective_cents"].as_i64(),
            "{name}"
        );
    }
}

#[test]
fn one_lot_of_a_stored_plan_in_a_wrong_slot_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let changes = [
        (
            "small-102",
            "g1",
            42,
            121,
            vec!["machine of pool farm1, slot 121 (day 60 pm): 22055 s > 18000 s"],
            None,
        ),
        (
            "small-102",
            "g1",
            79,
            120,
            vec!["lot g1: 41 slots between laying and lifting, but at least 42"],
            None,
        ),
        (
            "farm-111",
            "g25",
            57,
            132,
            vec![
                "cover W28 of pool farm1, slot 57 (day 28 pm): 7975 m > 7711 m",
                "cover W28 of pool farm1, slot 58 (day 29 am): 8096 m > 7711 m",
            ],
            Some(797_639),
        ),
    ];
    for (name, lot, lay, lift, expected, worth) in changes {
        let Some((case, best)) = reference(name) else { return };
        let mut plan = read(&best)["plan"].clone();
        plan[lot] = json!({"lay": lay, "mode": "lay_machine", "lift": lift, "kind": 0});
        let weighed = said(&["--case", &case, "--score", &kept(&folder, "plan.json", &plan)]);
        let violations = weighed["violations"].as_array().unwrap();
        assert_eq!(violations.len(), expected.len(), "{violations:?}");
        for (said, expected) in violations.iter().zip(expected) {
            assert!(said.as_str().unwrap().starts_with(expected), "{said}");
        }
        if let Some(worth) = worth {
            assert_eq!(weighed["objective_cents"], worth);
        }
    }
}

#[test]
fn the_reference_cases_are_planned_as_well_as_the_best_known() {
    for name in REFERENCE {
        let Some((case, best)) = reference(name) else { return };
        let planned = said(&["--case", &case]);
        let best = read(&best)["objective_cents"].as_i64().unwrap();
        let (worth, bound) = (
            planned["objective_cents"].as_i64().unwrap(),
            planned["bound_cents"].as_i64().unwrap(),
        );
        println!("{name}: {worth} of {best}, bound {bound}");
        assert!(worth as f64 >= 0.995 * best as f64, "{name}: {worth} of {best}");
        assert!(
            bound >= worth && bound >= best,
            "{name}: bound {bound}, worth {worth}, best known {best}"
        );
        assert_eq!(planned["violations"], json!([]), "{name}");
    }
}

#[test]
fn the_answer_is_the_same_to_the_byte_on_every_run() {
    let mut cases = vec![own("one-crew"), own("two-crops")];
    cases.extend(reference("large-121").map(|(case, _)| case));
    for case in cases {
        let run = || covercast(&["--case", &case, "--tries", "200"]).stdout;
        let first = run();
        assert!(!first.is_empty());
        assert_eq!(first, run(), "{case}");
    }
}

/// Worked example D: one set of covers for two crops.
#[test]
fn a_set_that_serves_two_crops_is_moved_earlier_than_the_first_crop_wants() {
    let folder = tempfile::tempdir().unwrap();
    let case = read(&own("two-crops"));
    let both = said(&["--case", &own("two-crops")]);
    assert_eq!(both["objective_cents"], 42480);
    assert_eq!(
        both["plan"]["early"],
        json!({"lay": 1, "mode": "lay_machine", "lift": 57, "kind": 0})
    );
    assert_eq!(
        both["plan"]["late"],
        json!({"lay": 59, "mode": "lay_machine", "lift": 127, "kind": 0})
    );

    // Alone, with Q unrounded: 135.64 and 354.84; here its cents are cut.
    for (lot, lay, lift, worth) in [(0, 1, 65, 13564), (1, 34, 123, 35484)] {
        let mut alone = case.clone();
        alone["groups"] = json!([case["groups"][lot]]);
        let planned = said(&["--case", &kept(&folder, "alone.json", &alone)]);
        let entry = &planned["plan"][case["groups"][lot]["id"].as_str().unwrap()];
        assert_eq!((&entry["lay"], &entry["lift"]), (&json!(lay), &json!(lift)));
        let found = planned["objective_cents"].as_i64().unwrap();
        assert!((worth - 1..=worth).contains(&found), "{found}");
    }

    // The early crop lifted in one slot only: every other slot is worth less, the last one 17 % less.
    let forced = |slot: usize| {
        let mut forced = case.clone();
        let lifts = case["groups"][0]["lift"].as_array().unwrap();
        forced["groups"][0]["lift"] = lifts
            .iter()
            .filter(|lift| lift[0] == slot && lift[1] == 0)
            .cloned()
            .collect();
        said(&["--case", &kept(&folder, "forced.json", &forced)])["objective_cents"]
            .as_i64()
            .unwrap()
    };
    let mut worths: Vec<(i64, usize)> = (52..72)
        .filter(|slot| ![54, 55, 68, 69].contains(slot))
        .map(|slot| (forced(slot), slot))
        .collect();
    worths.sort_unstable();
    worths.reverse();
    assert_eq!(worths[0], (42480, 57));
    assert_eq!(worths[1].1, 59, "picking less 13");
    assert!(
        (42370..=42372).contains(&worths[1].0),
        "423.71 with Q unrounded: {}",
        worths[1].0
    );
    // Lifted at the last moment, with both crops covered; leaving the early one out would be worth more.
    assert_eq!(forced(71), 35484, "the late crop alone");
    let mut last = case.clone();
    let lifts = case["groups"][0]["lift"].as_array().unwrap();
    last["groups"][0]["drop_cents"] = json!(1_000_000);
    last["groups"][0]["lift"] = lifts.iter().filter(|lift| lift[0] == 71).cloned().collect();
    let worth = said(&["--case", &kept(&folder, "last.json", &last)])["objective_cents"]
        .as_i64()
        .unwrap();
    assert!((35423..=35425).contains(&worth), "354.24 with Q unrounded: {worth}");
}

#[test]
fn a_plan_that_was_written_is_weighed_as_it_was_printed() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("plan.json").to_str().unwrap().to_owned();
    let output = covercast(&["--case", &own("one-crew"), "--out", &out]);
    let printed: Value = serde_json::from_slice(&output.stdout).unwrap();
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.starts_with("one crew: worth 1596.77, at most "), "{told}");
    assert!(told.contains("6 of 8 lots covered, 1 of them folded aside"), "{told}");
    for plan in [out, kept(&folder, "whole.json", &printed)] {
        assert_eq!(said(&["--case", &own("one-crew"), "--score", &plan]), printed);
    }
}

/// The parts of the regret add up, and the sentences are those of a foreman.
#[test]
fn every_lot_of_a_plan_says_why() {
    let lots = ["N0", "N1", "C2", "C3", "H4", "H5", "S6", "S7"];
    let case = own("one-crew");
    let mut arguments = vec!["--case", &case];
    arguments.extend(lots.into_iter().flat_map(|lot| ["--why", lot]));
    let answer = said(&arguments);
    let mut words = String::new();
    for why in answer["why"].as_array().unwrap() {
        for job in ["lay", "lift"]
            .map(|job| &why[job])
            .into_iter()
            .filter(|job| !job.is_null())
        {
            let ranked = job["ranked"].as_array().unwrap();
            assert_eq!(ranked[0]["slot"], job["slot"], "the plan has the best slot of each job");
            assert_eq!(ranked[0]["score_cents"], why["profit_cents"]);
            assert!(
                ranked
                    .windows(2)
                    .all(|pair| pair[0]["score_cents"].as_i64() >= pair[1]["score_cents"].as_i64())
            );
            let parts: i64 = job["reasons"]
                .as_array()
                .unwrap()
                .iter()
                .map(|reason| reason["cents"].as_i64().unwrap())
                .sum();
            assert_eq!(parts, job["regret_cents"].as_i64().unwrap_or(0));
        }
        assert_eq!(
            why["hindrance"].is_null(),
            !answer["plan"][why["lot"].as_str().unwrap()].is_null()
        );
        for sentence in why["sentences"].as_array().unwrap() {
            words += sentence.as_str().unwrap();
            words.push('\n');
        }
    }
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("why_a_slot", words);
    });
}

#[test]
fn a_lot_that_cannot_be_covered_says_what_would_make_it_possible() {
    let folder = tempfile::tempdir().unwrap();
    let case = read(&own("two-crops"));
    let said_of = |change: &dyn Fn(&mut Value)| {
        let mut case = case.clone();
        change(&mut case);
        let answer = said(&["--case", &kept(&folder, "case.json", &case), "--why", "late"]);
        assert!(answer["plan"]["late"].is_null(), "{answer}");
        answer["why"][0]["sentences"][0].as_str().unwrap().to_owned()
    };
    let short = said_of(&|case| case["pools"][0]["stock_m"]["w"] = json!(850));
    assert!(short.contains("the stock of w is 50 m short"), "{short}");
    let closed = said_of(&|case| case["groups"][1]["lay_machine"] = json!([]));
    assert!(closed.contains("no slot is open for laying"), "{closed}");
    let never = said_of(&|case| case["groups"][1]["lift"] = json!([]));
    assert!(never.contains("no slot for lifting before picking"), "{never}");
    let late = said_of(&|case| case["groups"][1]["min_exposure_slots"] = json!(110));
    assert!(
        late.contains("at most 98 slots from laying to lifting and 110 are needed"),
        "{late}"
    );
    let crew = said_of(&|case| case["groups"][1]["work"]["lay_machine"]["people_s"] = json!(90_000));
    assert!(
        crew.contains("the crew cannot do it in any one slot; the least that is missing is 13.3 h"),
        "{crew}"
    );
    let poor = said_of(&|case| case["groups"][1]["value_cents"] = json!(9000));
    assert!(poor.contains("more than its colour brings"), "{poor}");
    let taken = said_of(&|case| {
        case["groups"][1]["lay_machine"] = json!([[38, 9225]]);
        case["groups"][0]["value_cents"] = json!(200_000);
    });
    assert!(taken.contains("900 m more cover"), "{taken}");
}

#[test]
fn a_plan_that_leaves_what_would_fit_is_told_so() {
    let folder = tempfile::tempdir().unwrap();
    let nothing = kept(&folder, "plan.json", &json!({"early": null, "late": null}));
    let answer = said(&["--case", &own("two-crops"), "--score", &nothing, "--why", "late"]);
    assert_eq!(answer["objective_cents"], 0);
    assert_eq!(
        answer["why"][0]["hindrance"],
        json!({"what": "nothing", "gain_cents": 35484}),
        "the late crop alone is worth 354.84"
    );
}

fn refused(text: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("case.json");
    fs::write(&path, text).unwrap();
    let output = covercast(&["--case", path.to_str().unwrap()]);
    assert_eq!(
        output.status.code(),
        Some(2),
        "{}",
        String::from_utf8_lossy(&output.stdout)
    );
    assert!(output.stdout.is_empty());
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn every_mistake_in_a_case_is_named_with_its_place_and_cure() {
    let case = read(&own("one-crew"));
    let changed = |pointer: &str, value: Value| {
        let mut case = case.clone();
        *case.pointer_mut(pointer).unwrap() = value;
        refused(&case.to_string())
    };
    for (pointer, value, expected) in [
        (
            "/schema",
            json!("plan-case/9"),
            "schema: is \"plan-case/9\", but this program reads \"plan-case/1\"",
        ),
        ("/slots", json!(0), "slots: is 0, but a horizon has 1 to"),
        (
            "/slots",
            json!(121),
            "pool crew, `people_cap_s`: has 120 values, but the case has 121 slots",
        ),
        (
            "/slot_seconds",
            json!(-1),
            "`slot_seconds`: is -1, but it lies between 1 and 86400",
        ),
        ("/curve", json!([]), "curve: is empty"),
        (
            "/curve",
            json!([[0, 0], [0, 500]]),
            "curve: does not rise from (0, 0) to (0, 500)",
        ),
        ("/curve", json!([[0, 500], [9, 400]]), "curve: does not rise"),
        (
            "/curve",
            json!([[0, 0], [9, 1400]]),
            "curve, `share`: is 1400, but it lies between 0 and 1000",
        ),
        ("/sites/0/p_lay/3", json!(1001), "site site, `p_lay`, slot 3: is 1001"),
        ("/sites/0/light_md/3", json!(-1), "site site, `light_md`, slot 3: is -1"),
        (
            "/sites/0/members_lay",
            json!(["01"]),
            "site site, `members_lay`, member 0: must be 30 signs",
        ),
        (
            "/pools/0/machine_cap_s/7",
            json!(-9),
            "pool crew, `machine_cap_s`, slot 7: is -9",
        ),
        ("/pools/0/stock_m/a", json!(-9), "pool crew, `stock_m` of `a`: is -9"),
        (
            "/groups/2/metres",
            json!(-5),
            "lot C2, `metres`: is -5, but it lies between 1 and",
        ),
        (
            "/groups/2/value_cents",
            json!(9_000_000_000_000_000_000_i64),
            "lot C2, `value_cents`: is 9000000000000000000",
        ),
        (
            "/groups/2/pool",
            json!(4),
            "lot C2, `pool`: is 4, but the case has 1 pools",
        ),
        (
            "/groups/2/site",
            json!(1),
            "lot C2, `site`: is 1, but the case has 1 sites",
        ),
        (
            "/groups/2/family",
            json!("x"),
            "lot C2, `family`: is \"x\", of which pool crew has no stock",
        ),
        ("/groups/2/id", json!("C3"), "lot C3: stands twice"),
        (
            "/groups/2/min_exposure_slots",
            json!(0),
            "lot C2, `min_exposure_slots`: is 0",
        ),
        (
            "/groups/2/work/fold/people_s",
            json!(-3),
            "lot C2, `work`, `fold`, `people_s`: is -3",
        ),
        (
            "/groups/2/lay_machine/0/0",
            json!(120),
            "lot C2, `lay_machine`: names slot 120, but the slots are 0 to 119",
        ),
        ("/groups/2/lift/0/2", json!(i64::MIN), "lot C2, `lift`, cost in slot"),
        (
            "/groups/2/lift/0/1",
            json!(3),
            "id C2, `lift`: a kind of lifting is 0 (roll up) or 1 (fold aside)",
        ),
        (
            "/groups/2/lift/0/0",
            json!(-1),
            "id C2, `lift`: invalid value: integer `-1`, expected a whole number from 0 on",
        ),
        (
            "/groups/2/metres",
            json!(1.5),
            "id C2, `metres`: invalid type: floating point `1.5`, expected a whole number",
        ),
        (
            "/groups/2/metres",
            json!("9"),
            "id C2, `metres`: invalid type: string \"9\"",
        ),
    ] {
        let said = changed(pointer, value);
        assert!(said.contains(expected), "{pointer}: {said}\nwanted: {expected}");
        assert!(said.contains("case.json"), "{said}");
    }
    let mut twice = case.clone();
    let first = twice["groups"][2]["lay_machine"][0].clone();
    twice["groups"][2]["lay_machine"][1] = first;
    assert!(refused(&twice.to_string()).contains("`lay_machine`: names slot"));
    let mut missing = case.clone();
    missing["groups"][3].as_object_mut().unwrap().remove("metres");
    let said = refused(&missing.to_string());
    assert!(
        said.contains("missing field `metres`") && said.contains("id C3"),
        "{said}"
    );
    let mut out = case.clone();
    let family = out["groups"][6]["family"].as_str().unwrap().to_owned();
    out["pools"][0]["stock_m"][&family] = json!(10);
    assert!(
        refused(&out.to_string()).contains("lie out already"),
        "what lies out is part of the stock"
    );
    assert!(refused("").contains("line 1"));
    assert!(refused(&case.to_string()[..5000]).contains("Mend the JSON there"));
    assert!(refused("[]").contains("Mend the JSON there"));
}

#[test]
fn all_mistakes_are_told_at_once() {
    let mut case = read(&own("one-crew"));
    for lot in case["groups"].as_array_mut().unwrap() {
        for key in ["metres", "value_cents", "check_s", "drop_cents"] {
            lot[key] = json!(-1);
        }
    }
    let said = refused(&case.to_string());
    assert_eq!(said.matches("is -1").count(), 20, "{said}");
    assert!(said.contains("12 more mistakes are not listed"), "{said}");
}

#[test]
fn a_plan_or_a_lot_that_cannot_be_read_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let refused = |arguments: &[&str]| {
        let output = covercast(arguments);
        assert_eq!(output.status.code(), Some(2));
        String::from_utf8(output.stderr).unwrap()
    };
    let case = own("one-crew");
    for (text, expected) in [
        ("{\"lot 1\": {\"lay\": 3}}", "missing field"),
        ("{\"lot 1\": null, \"lot 1\": null}", "lot `lot 1` stands twice"),
        (
            "{\"lot 1\": {\"lay\": 3, \"mode\": \"fly\", \"lift\": 4, \"kind\": 0}}",
            "unknown variant `fly`",
        ),
        (
            "{\"objective_cents\": 3, \"plan\": {\"lot 1\": {\"lay\": -3}}}",
            "line 1",
        ),
        ("null", "line 1"),
    ] {
        let path: PathBuf = folder.path().join("plan.json");
        fs::write(&path, text).unwrap();
        let said = refused(&["--case", &case, "--score", path.to_str().unwrap()]);
        assert!(said.contains(expected) && said.contains("plan.json"), "{said}");
    }
    assert!(refused(&["--case", &case, "--why", "lot 99"]).contains("--why lot 99: the case has no such lot"));
    assert!(refused(&["--case", "/nowhere.json"]).contains("/nowhere.json cannot be read"));
}
