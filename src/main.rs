//! The command line of linedrift: arguments in, exit codes out. All computation is the library's.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
