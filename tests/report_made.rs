//! Results to write pages of: a simulated fleet that is judged, with forecasts and a wear fit made by hand.

use linedrift::Date;
use linedrift::check::{Fleet, Stage};
use linedrift::forecast::{
    Basis, CrossingHours, DueDetail, DueRow, DueTable, FanPoint, FanStation, ForecastFan, Reason, RiskStation,
    WatchedPath, WatchedUnit, WingDue,
};
use linedrift::plan::PlanSpec;
use linedrift::report::{ReportData, WearSummary, WingPlan};
use linedrift::simulate::FleetSpec;
use linedrift::trim::{Trim, TrimSpec, Verdict};
use linedrift::wear::{Diagnostic, DriftSeries, DriftStation, Shape, SpreadRow, TermRow, measured_drift};

/// Simulated fleet, its judged last checks, and result rows of a wear fit and of forecasts made by hand.
pub struct Made {
    pub fleet: Fleet,
    pub trims: Vec<Trim>,
    pub due: DueTable,
    pub wear: WearSummary,
    pub drifts: Vec<DriftSeries>,
    pub plans: Vec<WingPlan>,
    pub fans: Vec<ForecastFan>,
    pub remarks: Vec<String>,
}

impl Made {
    pub fn new(spec: &FleetSpec) -> Self {
        let fleet = spec.run().unwrap().fleet;
        let trims: Vec<Trim> = fleet
            .histories()
            .iter()
            .filter_map(|history| {
                let check = history.checks.last()?;
                Some(TrimSpec::default().run(fleet.line_set(history), &history.wing, check).unwrap())
            })
            .collect();
        let due = fleet.histories().iter().enumerate().map(|(place, history)| due_row(place, history));
        let due = table(due.collect());
        let mut drifts = measured_drift(&fleet);
        for drift in &mut drifts {
            drift.path = (0..=10)
                .map(|step| {
                    let hours_h = 40.0 * f64::from(step);
                    let mean_mm = -0.01 * hours_h;
                    DriftStation { hours_h, mean_mm, lower_mm: mean_mm - 0.5, upper_mm: mean_mm + 0.5 }
                })
                .collect();
        }
        let plans = plans(&fleet);
        let fans = fleet.histories().iter().map(fan).collect();
        Self { fleet, trims, due, wear: wear(), drifts, plans, fans, remarks: vec!["A <remark>.".to_owned()] }
    }

    pub fn data(&self) -> ReportData<'_> {
        ReportData {
            fleet: &self.fleet,
            trims: &self.trims,
            due: Some(&self.due),
            wear: Some(&self.wear),
            drifts: &self.drifts,
            plans: &self.plans,
            fans: &self.fans,
            backtest: None,
            remarks: &self.remarks,
        }
    }
}

/// Plans of the last checks, with the trade-off.
fn plans(fleet: &Fleet) -> Vec<WingPlan> {
    let spec = PlanSpec::default();
    fleet
        .histories()
        .iter()
        .filter_map(|history| {
            let (set, check) = (fleet.line_set(history), history.checks.last()?);
            let plan = spec.run(set, history, check, &[]).unwrap();
            let curve = spec.curve(set, history, check, &[]).unwrap();
            Some(WingPlan { plan, curve })
        })
        .collect()
}

/// A forecast made by hand.
fn fan(history: &linedrift::check::History) -> ForecastFan {
    let now_h = history.checks.last().map_or(0.0, |check| check.hours_h);
    let station = |step: u32| {
        let (hours_h, at) = (now_h + 10.0 * f64::from(step), 0.5 * f64::from(step));
        FanStation {
            hours_h,
            median: at,
            lower50: at - 0.3,
            upper50: at + 0.3,
            lower80: at - 0.6,
            upper80: at + 0.6,
            lower95: at - 1.0,
            upper95: at + 1.0,
        }
    };
    ForecastFan {
        wing: history.wing.id.clone(),
        hours_now_h: now_h,
        due_h: now_h + 90.0,
        reason: Reason::Line,
        interval_h: now_h + 100.0,
        accepted_risk: 0.1,
        risk_h: Some(now_h + 90.0),
        crossing_hours: CrossingHours { p10: Some(now_h + 90.0), p50: Some(now_h + 110.0), p90: None },
        paths: vec![WatchedPath {
            reason: Reason::Line,
            name: format!("line <{}>", history.wing.id),
            unit: WatchedUnit::Mm,
            lower_limit: Some(-10.0),
            upper_limit: Some(10.0),
            first_share: 0.9,
            measured: vec![
                FanPoint { hours_h: 0.0, stage: Stage::AsFound, value: 0.4, reach: Some(1.5) },
                FanPoint { hours_h: now_h, stage: Stage::AsLeft, value: 0.9, reach: None },
            ],
            stations: (0..=12).map(station).collect(),
        }],
        risk: (0..=12)
            .map(|step| RiskStation { hours_h: now_h + 10.0 * f64::from(step), risk: f64::from(step) / 20.0 })
            .collect(),
    }
}

pub fn due_row(place: usize, history: &linedrift::check::History) -> DueRow {
    let hours_now = history.checks.last().map_or(0.0, |check| check.hours_h);
    DueRow {
        wing: history.wing.id.clone(),
        model: history.wing.model.clone(),
        basis: Basis::History,
        hours_now,
        due_hours: hours_now + 100.0 - place as f64,
        due_date: (place % 5 != 4).then(|| Date::constant(2027, 1, 1)),
        reason: if place == 3 { Reason::AlreadyOver } else { Reason::Interval },
        crossing_hours: CrossingHours { p10: Some(hours_now + 60.0), p50: Some(hours_now + 160.0), p90: None },
        risk_now: Some(0.04),
    }
}

pub fn table(rows: Vec<DueRow>) -> DueTable {
    let detail = DueDetail {
        explanation: "Because of <this> & that.".to_owned(),
        interval_hours: 100.0,
        ..DueDetail::default()
    };
    DueTable::new(0.1, rows.into_iter().map(|row| WingDue { row, detail: detail.clone() }).collect())
}

fn wear() -> WearSummary {
    let term = |name: &str, estimate: f64| TermRow {
        term: name.to_owned(),
        estimate,
        se: 0.05,
        lower: estimate - 0.1,
        upper: estimate + 0.1,
        df: 60.0,
        p: 0.5,
    };
    WearSummary {
        readings: 1000,
        wings: 12,
        checks: 30,
        lines: 400,
        restarted_lines: 4,
        shape: Shape::LINEAR,
        converged: true,
        terms: vec![term("offset", -0.8), term("rate:uhmwpe:C", -1.1), term("rate:a<b:A", 0.02), term("span:A", 0.4)],
        spread: vec![SpreadRow {
            group: "wing".to_owned(),
            effect: "rate".to_owned(),
            sd: Some(0.2),
            correlation: None,
        }],
        dropped_terms: vec!["rate:lcp:B".to_owned()],
        diagnostics: vec![Diagnostic { code: "few_wings".to_owned(), message: "Only a <few> wings.".to_owned() }],
    }
}

/// The fleet of a spec with its first wing, that wing's first check and its model renamed by text replacement in JSON.
pub fn renamed(made: &mut Made, name: &str) {
    let old = made.fleet.histories()[0].wing.id.clone();
    let mut histories = made.fleet.histories().to_vec();
    histories[0].wing.id = name.to_owned();
    histories[0].wing.model = name.to_owned();
    let last = histories[0].checks.len() - 1;
    histories[0].checks[last].id = name.to_owned();
    made.fleet = Fleet::new(made.fleet.line_sets().to_vec(), histories).unwrap();
    for trim in made.trims.iter_mut().filter(|trim| trim.wing == old) {
        trim.wing = name.to_owned();
        trim.check = name.to_owned();
        trim.lines[0].line = name.to_owned();
        trim.lines[0].relative_mm = 99.0;
        trim.lines[0].verdict = Some(Verdict::Outside);
    }
    for planned in made.plans.iter_mut().filter(|planned| planned.plan.wing == old) {
        planned.plan.wing = name.to_owned();
        for action in &mut planned.plan.actions {
            action.segment = Some(name.to_owned());
            action.lines.push(name.to_owned());
        }
        for note in &mut planned.plan.notes {
            name.clone_into(&mut note.message);
        }
    }
    for fan in made.fans.iter_mut().filter(|fan| fan.wing == old) {
        fan.wing = name.to_owned();
        fan.paths[0].name = name.to_owned();
    }
    let mut rows = made.due.rows().to_vec();
    for row in rows.iter_mut().filter(|row| row.wing == old) {
        row.wing = name.to_owned();
        row.model = name.to_owned();
    }
    made.due = table(rows);
    made.drifts[0].model = name.to_owned();
}

pub fn small() -> Made {
    Made::new(&FleetSpec::demo().wings(6).unchecked_wings(1))
}
