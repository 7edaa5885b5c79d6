//! The command line of linedrift: arguments in, exit codes out. All computation is the library's.
#![forbid(unsafe_code)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    linedrift::fleet::hush_decoder();
    cli::run()
}
