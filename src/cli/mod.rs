//! Arguments, one file per command, and the exit code of each outcome.

mod advise;
mod check;
mod demo;
mod explain;
mod loaded;
mod note;
mod outlook;
mod plan;
mod run;
mod sources;
mod status;
mod takeoff;
mod trace;

use std::io::Write as _;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::daemon::Clock;

/// Weather windows for growers who lay white reflective cover between their tree rows.
#[derive(Debug, Parser)]
#[command(name = "covercast", version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// The main job on an invented orchard: prints a letter, writes mail, chart, calendar and JSON
    Demo(demo::Arguments),
    /// One morning's advice, printed
    Advise(advise::Arguments),
    /// The daemon: pulls forecasts and sends the letter every morning
    Run(run::Arguments),
    /// Reports what was done or seen: laid, checked, lifted, folded, redried, dry
    Note(note::Arguments),
    /// What is due, what was sent, the age of the data, and faults
    Status(status::Arguments),
    /// Which weather services cover a farm, what each offers there, and a block for the service file
    Sources(sources::Arguments),
    /// Why a letter says what it says
    Explain(explain::Arguments),
    /// Reads the files of a farm: tells every mistake at once, or what was understood
    Check(check::CheckArgs),
    /// The planning of a season alone: a case from a file, planned or a plan of it weighed
    Plan(plan::Arguments),
    /// The season before any forecast: usable half-days against work due; or the climate table it leans on
    Outlook(outlook::Arguments),
    /// What to order and cut for a season: pieces, rolls, ties, hours, cut list, labels
    Takeoff(takeoff::Arguments),
    /// The cover model hour by hour, from one file of block numbers and one of weather
    Trace(trace::Arguments),
}

/// Why a command did not do its work.
#[derive(Debug)]
pub struct Failure {
    /// Exit code: 1 failed, 2 configuration or usage, 3 no forecast could be read, 4 already running.
    pub code: u8,
    /// What happened, to what, and what to do now.
    pub text: String,
}

/// Runs the command line of this process.
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome = match &arguments.command {
        Command::Demo(arguments) => demo::demo(arguments),
        Command::Advise(arguments) => advise::advise(arguments),
        Command::Run(arguments) => run::run(arguments),
        Command::Note(arguments) => note::note(arguments),
        Command::Status(arguments) => status::status(arguments),
        Command::Sources(arguments) => sources::sources(arguments, Clock::Wall.now()),
        Command::Explain(arguments) => explain::explain(arguments),
        Command::Check(arguments) => check::check(arguments, Clock::Wall.now()),
        Command::Plan(arguments) => plan::plan(arguments),
        Command::Outlook(arguments) => outlook::outlook(arguments),
        Command::Takeoff(arguments) => takeoff::takeoff(arguments),
        Command::Trace(arguments) => trace::trace(arguments),
    };
    match outcome {
        Ok(text) => {
            // Who stops reading half-way, as `head` does, has what was wanted.
            let _ = std::io::stdout().write_all(text.as_bytes());
            ExitCode::SUCCESS
        }
        Err(failure) => {
            eprintln!("covercast: {}", failure.text);
            ExitCode::from(failure.code)
        }
    }
}
