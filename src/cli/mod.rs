//! Commands, one file each, and what they share: arguments, input, output, failures, progress.

mod args;
mod due;
mod failure;
mod fitting;
mod input;
mod judging;
mod output;
mod progress;
mod report;
mod simulate;
mod summary;
mod trim;
mod wear;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use failure::Failure;
use output::Output;

/// Turns line checks of paragliders into trim, wear and the next check, with intervals.
///
/// Without a command it makes the report of the bundled demo, an invented fleet. A fleet is a folder of tables: lines, wings,
/// checks, readings and optional ones, as CSV or Parquet.
#[derive(Debug, Parser)]
#[command(name = "linedrift", version, args_conflicts_with_subcommands = true, after_help = CAUTIONS)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    report: report::Options,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Everything in one HTML page with figures, and the result tables as CSV and Parquet.
    Report(report::Args),
    /// Judges each wing's latest check: verdict per line, row trim, incidence.
    Trim(trim::Args),
    /// Fits the wear model to the fleet.
    Wear(wear::Args),
    /// The next check per wing.
    Due(due::Args),
    /// Counts what a fleet folder holds.
    Summary(summary::Args),
    /// Writes an invented fleet folder with its truth.
    Simulate(simulate::Args),
}

const CAUTIONS: &str = "\
Cautions: results are statements about measured line lengths. They do not say that a wing is
fit to fly, and nothing about an absolute angle of attack, stall, collapse or turns. The next
check is a forecast; sand, salt, heat, water, a strong load or a repair call for an earlier one.

Exit codes: 0 done, 1 the data is at fault or a result could not be made, 2 the call is wrong.";

/// Runs the command line.
pub(crate) fn run() -> ExitCode {
    let cli = Cli::parse();
    let (json, outcome) = match cli.command {
        None => (cli.report.common.json, report::Args::bare(cli.report).run()),
        Some(Command::Report(args)) => (args.json(), args.run()),
        Some(Command::Trim(args)) => (args.common.json, args.run()),
        Some(Command::Wear(args)) => (args.common.json, args.run()),
        Some(Command::Due(args)) => (args.common.json, args.run()),
        Some(Command::Summary(args)) => (args.common.json, args.run()),
        Some(Command::Simulate(args)) => (false, args.run()),
    };
    finish(json, outcome)
}

/// Prints the result or the failure and picks the exit code.
fn finish(json: bool, outcome: Result<Output, Failure>) -> ExitCode {
    match outcome {
        Ok(output) => output.print(),
        Err(failure) => failure.print(json),
    }
}
