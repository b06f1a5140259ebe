//! `covercast plan`: the planning computation alone, on a case from a file.
//!
//! Standard output is JSON and the same on every run; what was reached, and how long it took, goes to standard error.

mod input;
mod pools;

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::Instant;

use serde::Serialize;

use super::Failure;
use crate::plan::season::costs::Rates;
use crate::plan::season::solve::{bound_cents, usual_tries};
use crate::plan::season::{Checked, Inquiry, Schedule, Solved, Why, score};

/// Arguments of `covercast plan`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The case, JSON of the schema `plan-case/1`
    #[arg(long, value_name = "FILE")]
    case: PathBuf,
    /// Weigh this plan instead of making one: JSON of lots, or what this command printed
    #[arg(long, value_name = "PLAN", conflicts_with_all = ["out", "tries"])]
    score: Option<PathBuf>,
    /// Write the bare plan into this file as well
    #[arg(long, value_name = "PLAN")]
    out: Option<PathBuf>,
    /// Tries a lot; more take longer and may find a better plan [default: 1000 to 10000, fewer the more lots]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(0..=1_000_000))]
    tries: Option<u64>,
    /// Say of this lot why it stands where it stands; may be given several times
    #[arg(long, value_name = "LOT")]
    why: Vec<String>,
}

/// What is printed.
#[derive(Serialize)]
struct Printed<'a> {
    schema: &'static str,
    case: &'a str,
    objective_cents: i64,
    bound_cents: i64,
    gap_percent: Option<f64>,
    lots: usize,
    covered: usize,
    folded: usize,
    violations: Vec<String>,
    plan: &'a Schedule,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    why: Vec<Why>,
}

/// Reads the case, plans or weighs, and answers what is to be printed.
///
/// # Errors
/// Code 2 with file, place and cure where a file cannot be read or holds what cannot be; code 1 where the plan cannot
/// be written.
pub(super) fn plan(arguments: &Arguments) -> Result<String, Failure> {
    let began = Instant::now();
    let case = input::case(&arguments.case)?;
    if let Some(file) = &arguments.score {
        let schedule = input::schedule(file)?;
        let scored = score(&case, &schedule);
        let weighed = Solved {
            objective_cents: scored.objective_cents,
            bound_cents: bound_cents(&case),
            violations: scored.violations,
            worth: Vec::new(),
            schedule,
        };
        return printed(&case, &weighed, &arguments.why);
    }
    let solved = pools::solve(&case, arguments.tries.unwrap_or_else(|| usual_tries(&case)));
    if let Some(file) = &arguments.out {
        write(file, &solved.schedule)?;
    }
    // A closed standard error is no reason to lose the plan.
    let _ = writeln!(
        std::io::stderr(),
        "{}",
        sentence(&case, &solved, began.elapsed().as_secs_f64())
    );
    printed(&case, &solved, &arguments.why)
}

fn gap_percent(solved: &Solved) -> Option<f64> {
    let gap = (solved.bound_cents - solved.objective_cents) as f64 / solved.objective_cents as f64 * 100.0;
    (solved.objective_cents > 0).then_some((gap * 1000.0).round() / 1000.0)
}

fn printed(case: &Checked, solved: &Solved, lots: &[String]) -> Result<String, Failure> {
    let printed = Printed {
        schema: "season-plan/1",
        case: &case.name,
        objective_cents: solved.objective_cents,
        bound_cents: solved.bound_cents,
        gap_percent: gap_percent(solved),
        lots: case.lots.len(),
        covered: solved.schedule.covered(),
        folded: solved.schedule.folded(),
        violations: solved.violations.iter().map(ToString::to_string).collect(),
        plan: &solved.schedule,
        why: why(case, solved, lots)?,
    };
    json(&printed)
}

fn why(case: &Checked, solved: &Solved, lots: &[String]) -> Result<Vec<Why>, Failure> {
    if lots.is_empty() {
        return Ok(Vec::new());
    }
    let inquiry = Inquiry::new(case, &solved.schedule, Rates::default());
    let answer = |lot: &String| {
        inquiry.why(lot).ok_or_else(|| Failure {
            code: 2,
            text: format!(
                "--why {lot}: the case has no such lot, or the plan asks for a job that is not offered. \
                 The names stand as `id` in the case; violations stand in the answer without --why."
            ),
        })
    };
    lots.iter().map(answer).collect()
}

fn json<T: Serialize>(value: &T) -> Result<String, Failure> {
    let mut text = serde_json::to_string_pretty(value).map_err(|error| Failure {
        code: 1,
        text: format!("the plan cannot be put into JSON: {error}. Report this with the case."),
    })?;
    text.push('\n');
    Ok(text)
}

fn write(file: &Path, schedule: &Schedule) -> Result<(), Failure> {
    std::fs::write(file, json(schedule)?).map_err(|error| Failure {
        code: 1,
        text: format!(
            "{} cannot be written: {error}. Name another file for --out.",
            file.display()
        ),
    })
}

fn sentence(case: &Checked, solved: &Solved, seconds: f64) -> String {
    let money = |cents: i64| format!("{:.2}", cents as f64 / 100.0);
    let gap = gap_percent(solved).map_or_else(String::new, |gap| format!(", gap {gap} %"));
    format!(
        "{}: worth {}, at most {} is possible{gap}; {} of {} lots covered, {} of them folded aside; {seconds:.1} s",
        case.name,
        money(solved.objective_cents),
        money(solved.bound_cents),
        solved.schedule.covered(),
        case.lots.len(),
        solved.schedule.folded(),
    )
}
