//! Commands, one file each, and what they share: arguments, input, output, failures, progress.

mod answer;
mod args;
mod backtest;
mod check;
mod conditions;
mod due;
mod failure;
mod gate;
mod gauge;
mod input;
mod model;
mod output;
mod pages;
mod paint;
mod parts;
mod plan;
mod plan_after;
mod plan_all;
mod power;
mod progress;
mod protocol;
mod record;
mod reduce;
mod report;
mod sheet;
mod sheet_file;
mod simulate;
mod summary;
mod tables;
mod trim;
mod vet;
mod wear;
mod wear_model;
mod wear_research;
mod wing_data;

use std::io::{ErrorKind, Write as _};
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use failure::Failure;
use linedrift::fleet::Overwrite;
use output::Output;

/// Turns line checks of paragliders into trim, wear and the next check, with intervals.
///
/// Without a command it makes the report of the bundled demo, an invented fleet. A fleet is a folder of tables: lines, wings,
/// checks, readings and optional ones, as CSV or Parquet.
#[derive(Debug, Parser)]
#[command(
    name = "linedrift",
    version,
    args_conflicts_with_subcommands = true,
    term_width = 80,
    after_help = cautions()
)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    report: report::Options,
    /// Write over files that this program did not write (recorded adjustments excepted)
    #[arg(long, global = true)]
    force: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Everything in one HTML page with figures, and the result tables as CSV and Parquet.
    #[command(after_help = cautions())]
    Report(report::Args),
    /// One spreadsheet in, the whole answer out: doubts, trim, plan and the next date.
    #[command(after_help = cautions())]
    Check(Box<check::Args>),
    /// Keeps a model's lines, rows, cascade and tolerances from a spreadsheet, for all later checks.
    #[command(after_help = cautions())]
    Model(model::Args),
    /// A blank measuring sheet for one wing, as CSV or to print.
    #[command(after_help = cautions())]
    Sheet(sheet::Args),
    /// Adds a check to a fleet folder: a filled sheet, a spreadsheet, or readings line by line; vetted first.
    #[command(after_help = cautions())]
    Record(record::Args),
    /// Looks for doubtful readings in each wing's latest check, and says what each probably is.
    #[command(after_help = cautions())]
    Vet(vet::Args),
    /// Repeatability and reproducibility of the readings, from repeats and operators.
    #[command(after_help = cautions())]
    Gauge(gauge::Args),
    /// Judges each wing's latest check: verdict per line, row trim, incidence.
    #[command(after_help = cautions())]
    Trim(trim::Args),
    /// What to adjust after one check, and the trim to expect then.
    #[command(after_help = cautions())]
    Plan(plan::Args),
    /// Fits the wear model to the fleet.
    #[command(after_help = cautions())]
    Wear(wear::Args),
    /// How many wings, checks and repeats a question needs.
    #[command(after_help = cautions())]
    Power(power::Args),
    /// The next check per wing.
    #[command(after_help = cautions())]
    Due(due::Args),
    /// How well earlier checks would have foreseen the later ones.
    #[command(after_help = cautions())]
    Backtest(backtest::Args),
    /// Counts what a fleet folder holds.
    #[command(after_help = cautions())]
    Summary(summary::Args),
    /// The result tables of a fleet, as CSV and Parquet, and what their columns mean.
    #[command(after_help = cautions())]
    Tables(tables::Args),
    /// Reduces a fleet, or some files of its readings, to a part that `wear --from` puts together with others.
    #[command(after_help = cautions())]
    Reduce(reduce::Args),
    /// Writes an invented fleet folder, with the truth about it.
    #[command(after_help = cautions())]
    Simulate(simulate::Args),
    /// Prints the completions for a shell.
    Completions(pages::Completions),
    /// The manual page, or one page per command.
    Man(pages::Manual),
}

/// What stands under every help: the cautions whole, and the exit codes.
fn cautions() -> String {
    format!(
        "Cautions\n{}\nExit codes: 0 done, 1 the data is at fault, a result could not be made or some\nwings failed (the others\u{2019} \
         results are given), 2 the call is wrong.",
        linedrift::report::text::all_cautions()
    )
}

/// Runs the command line.
pub(crate) fn run() -> ExitCode {
    let command = Cli::command();
    let matches = match command.clone().try_get_matches() {
        Ok(matches) => matches,
        // help and version come this way too; a page that could not be printed is no success
        Err(shown) => {
            let printed = match shown.print().and_then(|()| std::io::stdout().flush()) {
                Err(error) => error.kind() == ErrorKind::BrokenPipe,
                Ok(()) => true,
            };
            return if printed || shown.exit_code() != 0 { exit_code(shown.exit_code()) } else { ExitCode::from(1) };
        }
    };
    let cli = match Cli::from_arg_matches(&matches) {
        Ok(cli) => cli,
        Err(error) => error.exit(),
    };
    let overwrite = if cli.force { Overwrite::Anything } else { Overwrite::Own };
    if let Err(refused) = gate::guard(&command, &matches, overwrite) {
        return refused.print(false);
    }
    let (json, outcome) = match cli.command {
        None => (cli.report.common.json, report::Args::bare(cli.report).run()),
        Some(Command::Report(args)) => (args.json(), args.run()),
        Some(Command::Check(args)) => (args.common.json, args.run()),
        Some(Command::Model(args)) => (args.common.json, args.run()),
        Some(Command::Sheet(args)) => (args.common.json, args.run()),
        Some(Command::Record(args)) => (args.common.json, args.run()),
        Some(Command::Vet(args)) => (args.common.json, args.run()),
        Some(Command::Gauge(args)) => (args.common.json, args.run()),
        Some(Command::Trim(args)) => (args.common.json, args.run()),
        Some(Command::Plan(args)) => (args.common.json, args.run()),
        Some(Command::Wear(args)) => (args.common.json, args.run()),
        Some(Command::Power(args)) => (args.common.json, args.run()),
        Some(Command::Due(args)) => (args.common.json, args.run()),
        Some(Command::Backtest(args)) => (args.common.json, args.run()),
        Some(Command::Summary(args)) => (args.common.json, args.run()),
        Some(Command::Tables(args)) => (args.common.json, args.run()),
        Some(Command::Reduce(args)) => (args.common.json, args.run()),
        Some(Command::Simulate(args)) => (false, args.run()),
        Some(Command::Completions(args)) => (false, Ok(args.run(Cli::command()))),
        Some(Command::Man(args)) => (false, args.run(Cli::command())),
    };
    finish(json, outcome)
}

fn exit_code(code: i32) -> ExitCode {
    ExitCode::from(u8::try_from(code).unwrap_or(2))
}

/// Prints the result or the failure and picks the exit code.
fn finish(json: bool, outcome: Result<Output, Failure>) -> ExitCode {
    let came = if outcome.is_ok() { gate::Came::Through } else { gate::Came::ToGrief };
    let outcome = match (outcome, gate::finish(came)) {
        (Ok(_), Err(failure)) => Err(failure),
        (outcome, _) => outcome,
    };
    match outcome {
        Ok(output) => output.print(),
        Err(failure) => failure.print(json),
    }
}
