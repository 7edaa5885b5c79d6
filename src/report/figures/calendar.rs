//! When the next checks fall due: wing by wing on a calendar, and how many in each month.

use jiff::civil::Date;

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, Tick, whole_ticks};
use crate::forecast::{DueDetail, DueRow, DueTable, MonthLoad, Reason};
use crate::report::ReportError;
use crate::report::month::Month;
use crate::report::words::{count, due};

/// Most wings in one picture.
const MOST_WINGS: usize = 40;
/// Furthest back that is drawn, days.
const BACK_DAYS: f64 = 550.0;
/// Furthest ahead that is drawn, days.
const AHEAD_DAYS: f64 = 920.0;
/// Months that are labelled at most.
const LABELLED_MONTHS: usize = 10;

/// Next checks on a calendar as seen on a day, the most urgent wing first and at most 40 of them: a dot at the day, a bar
/// from the day by which one wing in ten is due to that by which nine in ten are (usage being uncertain), and a line at
/// `today`. What lies more than 550 days back or 920 ahead is not drawn at its place: a ring at the edge and the day itself
/// at the right stand for such a day, an arrowhead for a bar that goes on. `None` when no wing has a date.
///
/// ```
/// use linedrift::{DueSpec, WearSpec, report::calendar_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let due = DueSpec::default().draws(500).run(&fleet, &WearSpec::default().fit(&fleet)?)?;
/// let today = fleet.last_date().ok_or("no check")?;
/// let figure = calendar_figure(&due, today)?.ok_or("no date")?;
/// println!("{}", figure.description());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn calendar_figure(table: &DueTable, today: Date) -> Result<Option<Figure>, ReportError> {
    let mut dated: Vec<(&DueRow, &DueDetail)> =
        table.rows().iter().zip(table.details()).filter(|(row, _)| row.due_date.is_some()).collect();
    if dated.is_empty() {
        return Ok(None);
    }
    dated.sort_by(|a, b| a.0.urgency(0, b.0, 0));
    let all = dated.len();
    dated.truncate(MOST_WINGS);
    let days = |date: Date| f64::from((date - today).get_days());
    let inside = |day: f64| day.clamp(-BACK_DAYS, AHEAD_DAYS);
    let beyond = |row: &DueRow| {
        let date = row.due_date.filter(|_| row.reason != Reason::AlreadyOver)?;
        (days(date).total_cmp(&inside(days(date))).is_ne()).then_some(date)
    };
    let far: Vec<String> =
        dated.iter().filter_map(|(row, _)| Some(format!("{} {}", row.wing, beyond(row)?))).collect();
    let ends = dated.iter().flat_map(|(row, detail)| [row.due_date, detail.earliest_date, detail.latest_date]);
    let (low, high) = ends
        .flatten()
        .map(|date| inside(days(date)))
        .fold((-30.0, 60.0), |(low, high): (f64, f64), day| (low.min(day), high.max(day)));
    let rows = u32::try_from(dated.len()).unwrap_or(u32::MAX);
    let longest = dated.iter().map(|(row, _)| row.wing.chars().count()).max().unwrap_or(0);
    let frame = Frame {
        width: 1360,
        height: rows.saturating_mul(30).saturating_add(110),
        left: u32::try_from(longest * 13 + 40).unwrap_or(260).min(260),
        right: if far.is_empty() { 40 } else { 200 },
        top: 46,
        bottom: 50,
        x: [low - 12.0, high + 12.0],
        y: [f64::from(rows) - 0.4, -0.6],
    };
    let now = dated.iter().filter(|(row, _)| row.is_due(today)).count();
    let told: Vec<String> =
        dated.iter().take(8).map(|(row, _)| format!("{} {}", row.wing, due(row, today))).collect();
    let description = format!(
        "Next check of {} on a calendar; {now} due by {today}. The most urgent: {}.{}",
        if all > dated.len() {
            format!("the {} most urgent of {all} wings", dated.len())
        } else {
            count(all, "wing", "wings")
        },
        told.join("; "),
        if far.is_empty() {
            String::new()
        } else {
            format!(" Outside the picture, a ring at its edge with the day at the right: {}.", far.join("; "))
        }
    );
    let figure = Plot::figure("Next checks on the calendar", &description, &frame, |plot| {
        plot.columns(&months(today, frame.x));
        plot.path(&[[0.0, frame.y[0]], [0.0, frame.y[1]]], Role::Due);
        let anchor = if -frame.x[0] > frame.x[1] { Anchor::AboveLeft } else { Anchor::AboveRight };
        plot.text(&format!("today, {today}"), [0.0, frame.y[1]], anchor, Role::Due);
        for (place, (row, detail)) in dated.iter().enumerate() {
            let y = place as f64;
            let name: String = row.wing.chars().take(18).collect();
            plot.text(&name, [frame.x[0], y], Anchor::Left, Role::Ink);
            let Some(date) = row.due_date else { continue };
            if row.reason == Reason::AlreadyOver {
                plot.cross([0.0, y], Role::Outside);
                continue;
            }
            if let (Some(early), Some(late)) = (detail.earliest_date, detail.latest_date) {
                let [from, to] = [days(early), days(late)];
                plot.path(&[[inside(from), y], [inside(to), y]], Role::Interval);
                if from < -BACK_DAYS {
                    plot.arrowhead([inside(from), y], -1.0, Role::Interval);
                }
                if to > AHEAD_DAYS {
                    plot.arrowhead([inside(to), y], 1.0, Role::Interval);
                }
            }
            let at = [inside(days(date)), y];
            match beyond(row) {
                Some(date) => {
                    plot.ring(at, 7, Role::InkRing);
                    let text = if date < today { format!("\u{2190} {date}") } else { format!("{date} \u{2192}") };
                    plot.text(&text, [frame.x[1], y], Anchor::Right, Role::Ink);
                }
                None => plot.dot(at, if date <= today { Role::Outside } else { Role::Left }),
            }
        }
    })?;
    Ok(Some(figure.wide()))
}

/// First days of months within the range, as days from today; only so many are labelled.
fn months(today: Date, x: [f64; 2]) -> Vec<Tick> {
    let starts: Vec<Date> = (-24..40)
        .filter_map(|ahead| Month::of(today).plus(ahead).first_day())
        .filter(|date| (x[0]..=x[1]).contains(&f64::from((*date - today).get_days())))
        .collect();
    let step = starts.len().div_ceil(LABELLED_MONTHS).max(1);
    starts
        .into_iter()
        .step_by(step)
        .map(|date| Tick { at: f64::from((date - today).get_days()), label: Month::of(date).to_string() })
        .collect()
}

/// Checks due in each month from that of `today` on, a bar each with its count; those due before count for its month.
/// `None` when no wing has a date.
///
/// ```
/// use linedrift::{DueSpec, WearSpec, report::workload_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let due = DueSpec::default().draws(500).run(&fleet, &WearSpec::default().fit(&fleet)?)?;
/// let figure = workload_figure(&due, fleet.last_date().ok_or("no check")?)?.ok_or("no date")?;
/// assert!(figure.standalone().contains("</svg>"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn workload_figure(table: &DueTable, today: Date) -> Result<Option<Figure>, ReportError> {
    let load = table.workload(today);
    let place = |load: &MonthLoad| f64::from(Month::from(load).since(Month::of(today)));
    let (Some(_), Some(last)) = (load.first(), load.last()) else { return Ok(None) };
    let until = place(last).max(5.0);
    let most = load.iter().map(|one| one.wings).max().unwrap_or(1) as f64;
    let frame = Frame {
        width: 1360,
        height: 300,
        left: 66,
        right: 30,
        top: 44,
        bottom: 48,
        x: [-0.6, until + 0.6],
        y: [0.0, 1.2 * most],
    };
    let told: Vec<String> = load.iter().map(|one| format!("{}: {}", Month::from(one), one.wings)).collect();
    let description = format!("Checks due per month, overdue ones in the first. {}.", told.join("; "));
    let figure = Plot::figure("Checks due per month", &description, &frame, |plot| {
        plot.levels(&whole_ticks(frame.y, 3));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let step = ((until + 1.0) / LABELLED_MONTHS as f64).ceil().max(1.0) as usize;
        #[allow(clippy::cast_possible_truncation)]
        for ahead in (0..=until as i32).step_by(step) {
            let label = Month::of(today).plus(ahead).to_string();
            plot.text(&label, [f64::from(ahead), 0.0], Anchor::Below, Role::Muted);
        }
        for one in &load {
            let (at, wings) = (place(one), one.wings as f64);
            plot.rectangle([at - 0.36, 0.0], [at + 0.36, wings], Role::Interval);
            plot.text(&one.wings.to_string(), [at, wings], Anchor::Above, Role::Ink);
        }
        plot.text("wings", [frame.x[0], frame.y[1]], Anchor::AboveRight, Role::Muted);
    })?;
    Ok(Some(figure.wide()))
}
