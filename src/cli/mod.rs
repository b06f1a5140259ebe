//! Arguments, one file per command, and the exit code of each outcome.

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
enum Command {}

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
    match arguments.command {}
}
