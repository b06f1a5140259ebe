//! Arguments, one file per command, and the exit code of each outcome.

mod trace;

use std::io::Write as _;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Weather windows for growers who lay white reflective cover between their tree rows.
#[derive(Debug, Parser)]
#[command(name = "covercast", version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
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
