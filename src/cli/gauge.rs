//! `linedrift gauge`

use std::collections::HashSet;
use std::fmt::Write as _;
use std::path::PathBuf;

use linedrift::check::repeatability::{
    Gauge, GaugeReading, GaugeSpec, Repeatability, UnbalancedGauge, gauge_readings,
};
use linedrift::check::{Check, Fleet};
use linedrift::fleet::batch::known_wing;
use linedrift::report::text;
use serde::Serialize;

use super::Failure;
use super::args::Common;
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// Checks of this wing only
    #[arg(long, value_name = "ID")]
    wing: Option<String>,
    /// This check only [default: all that have repeats or operators]
    #[arg(long, value_name = "ID", conflicts_with = "wing")]
    check: Option<String>,
    #[command(flatten)]
    pub(super) common: Common,
}

/// What repeats and operators tell.
#[derive(Debug, Default, Serialize)]
struct Study {
    schema: &'static str,
    /// Over all checks: the spread of repeats of one operator on one line.
    repeatability: Option<Repeatability>,
    /// Checks in which several operators read the same lines.
    checks: Vec<Crossed>,
    /// Checks in which operators read some lines only, or unequally often.
    unbalanced: Vec<Unbalanced>,
    /// Checks with several operators that cannot be analysed, and why.
    notes: Vec<Note>,
}

#[derive(Debug, Serialize)]
struct Crossed {
    check: String,
    wing: String,
    #[serde(flatten)]
    gauge: Gauge,
    repeatability_limit_mm: f64,
    reproducibility_limit_mm: f64,
}

#[derive(Debug, Serialize)]
struct Unbalanced {
    check: String,
    wing: String,
    #[serde(flatten)]
    gauge: UnbalancedGauge,
}

#[derive(Debug, Serialize)]
struct Note {
    check: String,
    message: String,
}

fn operators(check: &Check) -> usize {
    check.readings.iter().map(|reading| &reading.operator).collect::<HashSet<_>>().len()
}

impl Args {
    fn wants(&self, wing: &str, check: &str) -> bool {
        self.wing.as_ref().is_none_or(|id| id == wing) && self.check.as_ref().is_none_or(|id| id == check)
    }

    fn study(&self, fleet: &Fleet) -> Result<Study, Failure> {
        if let Some(wing) = &self.wing {
            known_wing(fleet, wing)?;
        }
        let mut study = Study { schema: "linedrift.gauge/1", ..Study::default() };
        let mut readings: Vec<GaugeReading> = Vec::new();
        let mut seen = 0;
        for history in fleet.histories() {
            let (set, wing) = (fleet.line_set(history), &history.wing.id);
            for check in history.checks.iter().filter(|check| self.wants(wing, &check.id)) {
                seen += 1;
                // a line is another thing to measure at every check
                readings.extend(
                    gauge_readings(set, check)
                        .into_iter()
                        .map(|reading| GaugeReading { part: format!("{} {}", check.id, reading.part), ..reading }),
                );
                if operators(check) < 2 {
                    continue;
                }
                // no reading is left out: an unbalanced study is estimated from all of them
                let unbalanced = UnbalancedGauge::of_check(set, check);
                if let Ok(Some(gauge)) = unbalanced {
                    study.unbalanced.push(Unbalanced { check: check.id.clone(), wing: wing.clone(), gauge });
                    continue;
                }
                match unbalanced.and_then(|_| GaugeSpec::default().run_check(set, check)) {
                    Ok(gauge) => study.checks.push(Crossed {
                        check: check.id.clone(),
                        wing: wing.clone(),
                        repeatability_limit_mm: gauge.repeatability_limit_mm(),
                        reproducibility_limit_mm: gauge.reproducibility_limit_mm(),
                        gauge,
                    }),
                    Err(error) => {
                        let message = format!("the operators cannot be compared: {error}");
                        study.notes.push(Note { check: check.id.clone(), message });
                    }
                }
            }
        }
        if let (Some(check), 0) = (&self.check, seen) {
            return Err(Failure::Call(format!("the fleet has no check `{check}`")));
        }
        study.repeatability = Repeatability::of(&readings).ok();
        if study.repeatability.is_none() && study.checks.is_empty() && study.unbalanced.is_empty() {
            return Err(Failure::Result(
                "no line was read twice at one check. To learn how well your readings agree, read lines again (columns \
                 `repeat` and `operator` of `readings`)"
                    .to_owned(),
            ));
        }
        Ok(study)
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        progress.step("comparing repeats");
        let study = self.study(&input.fleet)?;
        drop(progress);
        let demo = input.fleet.is_demo();
        if self.common.json {
            return Output::json(&output::document(study, demo));
        }
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{}", text::cautions(), words(&study))))
    }
}

fn words(study: &Study) -> String {
    let mut out = String::new();
    if let Some(known) = &study.repeatability {
        let _ = writeln!(
            out,
            "Repeatability (one line, one operator, one check)\n\
             standard deviation {:.2} mm (95 % {:.2} to {:.2}), {} times a line was read again\n\
             two readings of one line differ by more than {:.2} mm one time in twenty",
            known.sd_mm,
            known.interval.lower_sd_mm(),
            known.interval.upper_sd_mm(),
            known.groups,
            known.limit_mm
        );
    }
    for crossed in &study.checks {
        let _ = writeln!(
            out,
            "\nWing {}, check {}\n{}",
            crossed.wing,
            crossed.check,
            crossed.gauge.to_string().trim_end()
        );
    }
    for found in &study.unbalanced {
        let gauge = found.gauge.to_string();
        let _ = writeln!(out, "\nWing {}, check {}\n{}", found.wing, found.check, gauge.trim_end());
    }
    if !study.checks.is_empty() || !study.unbalanced.is_empty() {
        out.push_str(
            "\nReadings are compared as deviations from nominal. The row `part` says how unlike\nthe lines of this wing are: \
             that is the wing, not the measuring.\n",
        );
    }
    for note in &study.notes {
        let _ = writeln!(out, "\nnote: check {}: {}", note.check, note.message);
    }
    out
}
