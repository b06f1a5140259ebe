//! What `covercast check` says of ties: a range until the grower has pulled at one, and what would raise it.

use std::fs;
use std::path::Path;
use std::process::Command;

/// What `check` says of the demo farm after a change of its `farm.toml`.
fn checked(change: impl Fn(String) -> String) -> String {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/farm");
    let folder = tempfile::tempdir().unwrap();
    for name in ["farm.toml", "harvest.csv", "blackouts.csv"] {
        let text = fs::read_to_string(demo.join(name)).unwrap();
        let text = if name == "farm.toml" { change(text) } else { text };
        fs::write(folder.path().join(name), text).unwrap();
    }
    let output = Command::new(env!("CARGO_BIN_EXE_covercast"))
        .args(["check", "--now", "2026-03-09T16:30:00Z", "--farm"])
        .arg(folder.path())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Everything from the heading of the ties to the next empty line.
fn ties(said: &str) -> Vec<&str> {
    said.lines()
        .skip_while(|line| !line.starts_with("Ties, and the gusts"))
        .take_while(|line| !line.is_empty())
        .collect()
}

fn with(number: &'static str) -> impl Fn(String) -> String {
    move |text| text.replace("[alley]\n", &format!("[alley]\n{number}\n"))
}

/// Every number in a text.
fn numbers(text: &str) -> Vec<f64> {
    text.split(|sign: char| !sign.is_ascii_digit())
        .filter_map(|word| word.parse().ok())
        .collect()
}

#[test]
fn untested_ties_carry_a_range_and_a_closer_spacing_raises_it() {
    let said = checked(|text| text);
    let ties = ties(&said);
    assert!(
        ties[0].ends_with("Estimate for warning, not an engineering check."),
        "{said}"
    );
    // Name without figures, so the numbers are: range now, spacing then and now, range then, all in this order.
    let weakest = numbers(ties[1]);
    let [low, high, closer, now, better_low, better_high] = weakest[..] else {
        panic!("{}", ties[1])
    };
    assert_eq!((closer, now), (4.0, 6.0), "{}", ties[1]);
    assert!(
        low < high && low < better_low && better_low < better_high && high < better_high,
        "{}",
        ties[1]
    );
    // Pull goes with the squared gust less the cover's small weight: half as much tie again, at most the root of it.
    assert!(better_low / low < 1.5_f64.sqrt() + 0.02, "{}", ties[1]);
    assert!(said.contains("Pull-test yours"), "{said}");
    assert!(said.contains("100 to 200 N (10 to 20 kg on a luggage scale)"), "{said}");
}

#[test]
fn after_a_pull_test_one_number_stands_and_no_range() {
    let said = checked(with("tie_allow_n = 150"));
    let ties = ties(&said);
    assert!(ties[1].contains("by your pull test of 150 N"), "{said}");
    assert!(!said.contains("Pull-test yours"), "{said}");
    assert!(!ties[1].contains('-'), "{}", ties[1]);
}

#[test]
fn what_is_said_of_the_weakest_ties_is_what_pressure_and_area_say() {
    let said = checked(|text| text);
    let text = ties(&said).join(" ").split_whitespace().collect::<Vec<_>>().join(" ");
    let after = |words: &str| numbers(text.split(words).nth(1).unwrap());
    let lower = after("cm lower: from ");
    let higher = after("cm higher: from ");
    let now = &lower[..2];
    assert!(
        lower[2] > now[0] && higher[2] < now[0],
        "a low cover catches less wind: {text}"
    );
    let end = after("holds half a spacing, from ");
    assert!(end[0] > now[0] && end[2] > end[0], "{text}");
    assert!(text.contains("between them still"), "{text}");
}

#[test]
fn strong_ties_are_two_lines_without_advice() {
    let said = checked(with("tie_allow_n = 1500"));
    let ties = ties(&said);
    assert!(
        ties.iter()
            .any(|line| line.contains("The others carry 90 km/h or more")),
        "{said}"
    );
    assert!(ties.len() == 3, "{said}");
}

#[test]
fn a_grower_in_miles_reads_feet_and_pounds() {
    let said = checked(|text| text.replace("[site]\n", "[site]\nunits = \"imperial\"\n"));
    let text = ties(&said).join(" ");
    assert!(text.contains(" mph; ties every 13 ft instead of 20 ft"), "{said}");
    assert!(text.contains("22 to 45 lb on a luggage scale"), "{said}");
    assert!(text.contains("tied 4 in lower"), "{said}");
    assert!(!text.contains("km/h") && !text.contains(" kg"), "{said}");
}
