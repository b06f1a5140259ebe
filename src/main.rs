//! The covercast program.

use std::process::ExitCode;

fn main() -> ExitCode {
    covercast::cli::main()
}
