//! Under what conditions a check was measured: from the call, or from a check that waits in the folder.

use linedrift::Date;
use linedrift::check::sheet::LineOnSide;
use linedrift::check::{Check, Condition, Fleet, History, Stage};
use linedrift::fleet::spreadsheet::{Spreadsheet, WrittenDay};
use linedrift::wing::LineSet;

use crate::cli::{Failure, args};

/// Conditions with what an earlier check gave to them.
#[derive(Debug, Clone)]
pub(super) struct Inherited {
    pub(super) conditions: Conditions,
    pub(super) notes: Vec<String>,
}

/// The check that is added, and how it was measured.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "The check")]
pub(super) struct Conditions {
    /// Id of the check [default: the wing's id and a number]
    #[arg(long, value_name = "ID")]
    pub(super) check: Option<String>,
    /// Day of the check, such as 2026-03-14 or 14.3.2026
    #[arg(long, value_name = "DATE", value_parser = args::day)]
    pub(super) date: Option<Date>,
    /// Hours flown since new
    #[arg(long, value_name = "H", allow_negative_numbers = true, value_parser = args::hours)]
    pub(super) hours: Option<f64>,
    /// Before or after adjusting: `as_found` or `as_left` [default: `as_found`]
    #[arg(long, value_name = "STAGE")]
    pub(super) stage: Option<Stage>,
    /// What the instrument shows beyond the maker's length, mm [default: what the sheet was made for, else 0]
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = args::millimetres)]
    pub(super) datum: Option<f64>,
    /// Measuring load, N [default: 50]
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = args::not_negative)]
    load_n: Option<f64>,
    /// Temperature, degrees Celsius [default: 20]
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = args::finite)]
    temperature_c: Option<f64>,
    /// State of the lines: dry, damp or wet
    #[arg(long, value_name = "STATE")]
    condition: Option<Condition>,
    /// Free length given to the brake line at the handle, mm
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = args::not_negative)]
    brake_setting: Option<f64>,
    /// A line that was measured again and is as read, such as left:B3; kept with the check. May be given more than once
    #[arg(long, value_name = "SIDE:LINE")]
    pub(super) confirm: Vec<LineOnSide>,
    /// Who read the lines
    #[arg(long, value_name = "NAME")]
    pub(super) operator: Option<String>,
}

impl Conditions {
    /// What a spreadsheet says of its check, where the call says nothing; the call's own words go before.
    pub(super) fn or_of(&self, sheet: &Spreadsheet, file: &str) -> Result<Self, Failure> {
        let facts = sheet.facts();
        let date = match (self.date, facts.date) {
            (Some(date), _) | (None, Some(WrittenDay::Day(date))) => Some(date),
            (None, Some(WrittenDay::Either { day_first, month_first })) => {
                return Err(Failure::Result(format!(
                    "`{file}`: the date {} can be read in two ways: which is meant?\n  - --date {day_first}\n  - --date {month_first}",
                    facts.date_text
                )));
            }
            (None, _) => None,
        };
        Ok(Self {
            date,
            hours: self.hours.or(facts.hours_h),
            stage: self.stage.or_else(|| sheet.stage()),
            datum: self.datum.or(facts.datum_mm),
            load_n: self.load_n.or(facts.load_n),
            temperature_c: self.temperature_c.or(facts.temperature_c),
            operator: self.operator.clone().or_else(|| facts.operator.clone()),
            ..self.clone()
        })
    }

    /// Datum, load and operator as at the wing's last check, where neither the call nor the file says them; and sentences that
    /// say so.
    pub(super) fn or_as_before(&self, history: Option<&History>) -> Inherited {
        let mut notes = Vec::new();
        let mut conditions = self.clone();
        let last = history.and_then(|history| history.checks.iter().rfind(|check| !check.readings.is_empty()));
        let Some(last) = last else { return Inherited { conditions, notes } };
        if conditions.datum.is_none() && last.datum_mm != 0.0 {
            conditions.datum = Some(last.datum_mm);
            notes.push(format!("datum {} mm, as at check {}", last.datum_mm, last.id));
        }
        if conditions.load_n.is_none() && (last.load_n - Check::new("", last.date, 0.0).load_n).abs() > 1e-9 {
            conditions.load_n = Some(last.load_n);
            notes.push(format!("load {} N, as at check {}", last.load_n, last.id));
        }
        let operator = last.readings.first().and_then(|reading| reading.operator.clone());
        let is_one = last.readings.iter().all(|reading| reading.operator == operator);
        if let (None, Some(name), true) = (&conditions.operator, operator, is_one) {
            notes.push(format!("operator {name}, as at check {}", last.id));
            conditions.operator = Some(name);
        }
        Inherited { conditions, notes }
    }

    /// The check of a wing, without readings: one that waits in the folder for them, changed by what the call says, or a
    /// new one.
    pub(super) fn check_of(&self, fleet: &Fleet, wing: &str) -> Result<Check, Failure> {
        if let Some(waiting) = self.waiting(fleet, wing) {
            return Ok(self.over(waiting));
        }
        let (Some(date), Some(hours)) = (self.date, self.hours) else {
            return Err(Failure::Call(
                "say when the lines were measured: --date 2026-03-01 --hours 85 (hours flown since new)".to_owned(),
            ));
        };
        if self.check.is_none()
            && let Some(there) = self.same_visit(fleet, wing)
        {
            return Err(Failure::Result(format!(
                "wing `{wing}` has a check of {date} at {hours} h already, `{}` with {} readings: was this one added \
                 before? If it is another, give it an id by --check",
                there.id,
                there.readings.len()
            )));
        }
        let id = self.check.clone().unwrap_or_else(|| self.next_id(fleet, wing, hours));
        Ok(self.over(Check::new(&id, date, hours)))
    }

    /// Takes the confirmed lines of the call into a check.
    pub(super) fn confirm_in(&self, set: &LineSet, check: &mut Check) -> Result<(), Failure> {
        for line in args::confirmed(set, &self.confirm)? {
            if !check.confirmed.contains(&line) {
                check.confirmed.push(line);
            }
        }
        Ok(())
    }

    /// A check with what the call says in it.
    pub(super) fn over(&self, check: Check) -> Check {
        Check {
            id: self.check.clone().unwrap_or(check.id),
            date: self.date.unwrap_or(check.date),
            hours_h: self.hours.unwrap_or(check.hours_h),
            stage: self.stage.unwrap_or(check.stage),
            load_n: self.load_n.unwrap_or(check.load_n),
            datum_mm: self.datum.unwrap_or(check.datum_mm),
            temperature_c: self.temperature_c.unwrap_or(check.temperature_c),
            condition: self.condition.or(check.condition),
            brake_setting_mm: self.brake_setting.or(check.brake_setting_mm),
            ..check
        }
    }

    /// A check of the wing without readings: the one named, or the one of this day, these hours and this stage.
    fn waiting(&self, fleet: &Fleet, wing: &str) -> Option<Check> {
        let checks = &fleet.history(wing)?.checks;
        let named = match &self.check {
            Some(id) => checks.iter().find(|check| check.id == *id),
            None => self.same_visit(fleet, wing),
        };
        named.filter(|check| check.readings.is_empty()).cloned()
    }

    /// A check of the wing on this day, at these hours and this stage.
    fn same_visit<'a>(&self, fleet: &'a Fleet, wing: &str) -> Option<&'a Check> {
        fleet.history(wing)?.checks.iter().find(|check| {
            self.date == Some(check.date)
                && self.hours.is_some_and(|hours| hours.total_cmp(&check.hours_h).is_eq())
                && self.stage.unwrap_or_default() == check.stage
        })
    }

    /// The wing's id and the number of its visits, with an `L` for what was left; the first that is free.
    fn next_id(&self, fleet: &Fleet, wing: &str, hours_h: f64) -> String {
        let checks = fleet.history(wing).map(|history| history.checks.as_slice()).unwrap_or_default();
        let taken =
            |id: &str| fleet.histories().iter().flat_map(|history| &history.checks).any(|check| check.id == id);
        let as_left = self.stage == Some(Stage::AsLeft);
        let found =
            checks.iter().rfind(|check| check.stage == Stage::AsFound && check.hours_h.total_cmp(&hours_h).is_eq());
        if let (true, Some(found)) = (as_left, found)
            && !taken(&format!("{}L", found.id))
        {
            return format!("{}L", found.id);
        }
        let visits = checks.iter().filter(|check| check.stage == Stage::AsFound).count();
        let mark = if as_left { "L" } else { "" };
        let mut number = visits + 1;
        while taken(&format!("{wing}-{number}{mark}")) {
            number += 1;
        }
        format!("{wing}-{number}{mark}")
    }
}
