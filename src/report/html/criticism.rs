//! The page that criticises a wear fit.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::document::Document;
use super::draft::{Draft, Layout, note, section};
use super::page::Page;
use super::table::{Cell, table};
use super::wear;
use crate::report::figures::{Bar, Figure, against_figure, bars_figure, drift_figures, quantile_figure};
use crate::report::words::{self, number, signed};
use crate::report::{ReportError, WearSummary};
use crate::wear::{DriftPoint, DriftSeries, DriftStation, FrameRow, WearFit, WearFrame};
use crate::wing::{LineSet, Row};

/// Readings listed as furthest from the model.
const FURTHEST: usize = 12;
/// Stations of a drift curve.
const STATIONS: u32 = 12;

/// How a wear fit is criticised: one self-contained HTML page with what the model leaves of the readings (against a normal
/// distribution, along the span, with hours, by row and by wing), its drift curves against the data, the time shapes it was chosen
/// from, and its random effects.
///
/// | setter | default | why |
/// |---|---|---|
/// | [`source`](Self::source) | empty | where the tables came from, shown under the title |
/// | [`demo`](Self::demo) | not the demo | says that the data is invented |
///
/// ```
/// use linedrift::{WearSpec, report::WearPageSpec, simulate::FleetSpec, wear::Shape};
///
/// let fleet = FleetSpec::default().wings(6).seed(7).run()?.fleet;
/// let reduction = linedrift::wear::Reduction::new(&fleet, &[])?;
/// let fit = WearSpec::default().shape(Shape::LINEAR).fit_reduced(&reduction)?;
/// let page = WearPageSpec::default().run(&fit, &fit.frame(&reduction)?, reduction.line_sets())?;
/// assert!(page.html().contains("Furthest from the model"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WearPageSpec {
    source: String,
    demo: bool,
}

/// What is left of one row of the frame.
struct Left<'a> {
    row: &'a FrameRow,
    mm: f64,
    in_sd: f64,
    span: Option<f64>,
}

impl WearPageSpec {
    /// Where the tables came from, shown under the title.
    #[must_use]
    pub fn source(mut self, source: &str) -> Self {
        source.clone_into(&mut self.source);
        self
    }

    /// Marks the page as of the bundled invented demo.
    #[must_use]
    pub fn demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// Makes the page of a fit, its frame and the line sets of its wings.
    ///
    /// # Errors
    /// [`ReportError::Drawing`] when a figure cannot be drawn.
    pub fn run(&self, fit: &WearFit, frame: &WearFrame, sets: &[LineSet]) -> Result<Page, ReportError> {
        let mut draft = Draft::default();
        let left: Vec<Left<'_>> = frame.rows().iter().map(|row| left(row, fit, sets)).collect();
        let from = if self.source.is_empty() { String::new() } else { format!(" \u{b7} from {}", self.source) };
        let body = html! {
            (section("summary", "Does the model fit?", &html! {
                p .lead { (lead(fit, &left)) }
                @for diagnostic in fit.diagnostics() { (note(&diagnostic.message)) }
            }))
            (residuals(&mut draft, &left)?)
            (drifts(&mut draft, fit, frame, sets)?)
            (shapes(fit))
            (effects(&mut draft, frame)?)
            (section("rates", "Rates", &wear::fitted(&mut draft, &WearSummary::from(fit))?))
        };
        let document = Document {
            title: "How well the wear model fits".to_owned(),
            under: format!(
                "{}, {}, {}{from}",
                words::count(fit.readings(), "reading", "readings"),
                words::count(fit.wings(), "wing", "wings"),
                words::count(fit.checks(), "check", "checks"),
            ),
            demo: self.demo,
            first: ("summary", "the summary"),
            body,
        };
        Ok(Page::of(&document, draft))
    }
}

fn left<'a>(row: &'a FrameRow, fit: &WearFit, sets: &[LineSet]) -> Left<'a> {
    let mm = row.deviation_mm - row.fitted_mm;
    let set = sets.iter().find(|set| set.model() == row.model);
    let span = set.and_then(|set| Some(set.lines().get(set.find(&row.line, row.side)?)?.span));
    Left { row, mm, in_sd: mm * (row.readings as f64).sqrt() / fit.reading_sd_mm(), span }
}

fn lead(fit: &WearFit, left: &[Left<'_>]) -> String {
    let far = left.iter().filter(|one| one.in_sd.abs() > 3.0).count();
    let start = if fit.converged() { "" } else { "The fit did not converge: do not use it. " };
    format!(
        "{start}The readings lie about the model with a standard deviation of {} mm. Of {}, {} further off than three standard \
         deviations; chance leaves {}.",
        number(fit.reading_sd_mm(), 1),
        words::count(left.len(), "line at a check", "lines at their checks"),
        words::count(far, "is", "are"),
        number(0.0027 * left.len() as f64, 0)
    )
}

fn residuals(draft: &mut Draft, left: &[Left<'_>]) -> Result<Markup, ReportError> {
    let in_sd: Vec<f64> = left.iter().map(|one| one.in_sd).collect();
    let along = |of: fn(&Left<'_>) -> Option<f64>| -> Vec<[f64; 2]> {
        left.iter().filter_map(|one| Some([of(one)?, one.in_sd])).collect()
    };
    let mut by_row: BTreeMap<Row, Vec<f64>> = BTreeMap::new();
    let mut by_wing: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for one in left {
        by_row.entry(one.row.row).or_default().push(one.in_sd);
        by_wing.entry(&one.row.wing).or_default().push(one.in_sd);
    }
    let rows: Vec<Bar> = by_row.iter().map(|(row, values)| Bar::of(row.name(), values)).collect();
    let mut wings: Vec<Bar> = by_wing.iter().map(|(wing, values)| Bar::of(wing, values)).collect();
    wings.sort_by(|a, b| a.value.total_cmp(&b.value));
    let figures: Vec<Figure> = [
        quantile_figure(&in_sd)?,
        against_figure("span (0 centre, 1 tip)", &along(|one| one.span))?,
        against_figure("hours flown", &along(|one| Some(one.row.hours_h)))?,
        bars_figure("Mean residual by row", "sd", &rows)?,
        bars_figure("Mean residual by wing", "sd", &wings)?,
    ]
    .into_iter()
    .flatten()
    .collect();
    let figures = draft.figures(
        Layout::Panels,
        "What the model leaves of the readings",
        "Ring: the mean of a line\u{2019}s readings at a check, less what the model says, over its standard deviation. Dot and bar: the mean \
         of a part with its 95 % interval. Where the model fits, rings follow the dotted line and means lie about zero.",
        "residual",
        figures,
    );
    let mut sorted: Vec<&Left<'_>> = left.iter().collect();
    sorted.sort_by(|a, b| b.in_sd.abs().total_cmp(&a.in_sd.abs()));
    let furthest: Vec<Vec<Cell>> = sorted
        .into_iter()
        .take(FURTHEST)
        .map(|one| {
            vec![
                Cell::words(&one.row.wing),
                Cell::short(&one.row.check),
                Cell::short(format!("{} {}", one.row.line, one.row.side)),
                Cell::figure(signed(one.mm, 1)),
                Cell::figure(signed(one.in_sd, 1)),
            ]
        })
        .collect();
    Ok(section(
        "residuals",
        "Residuals",
        &html! {
            (figures)
            (table("Furthest from the model", &["Wing", "Check", "Line", "Residual, mm", "In sd"], &furthest))
        },
    ))
}

/// The model's drift of each row against what was measured: deviations less the offsets of wing, check and model, so that what is left
/// of them is drift, its differences between wings, lines as built and reading error.
fn drifts(draft: &mut Draft, fit: &WearFit, frame: &WearFrame, sets: &[LineSet]) -> Result<Markup, ReportError> {
    let mut offsets: BTreeMap<(&str, &str), f64> = BTreeMap::new();
    for effect in frame.effects().iter().filter(|one| one.effect == "offset") {
        match effect.group.as_str() {
            "wing" => *offsets.entry((&effect.wing, "")).or_default() += effect.value,
            "check" => *offsets.entry((&effect.wing, &effect.level)).or_default() += effect.value,
            _ => {}
        }
    }
    let of = |wing: &str, level: &str| offsets.get(&(wing, level)).copied().unwrap_or(0.0);
    let mut drawn = Vec::new();
    for set in sets {
        let mut series = Vec::new();
        for row in Row::ALL {
            let mut means: BTreeMap<(&str, &str), (f64, Vec<f64>)> = BTreeMap::new();
            let own = |one: &&FrameRow| one.model == set.model() && one.row == row && one.restart == 0;
            for one in frame.rows().iter().filter(own) {
                let free = one.deviation_mm - one.fixed_mm - of(&one.wing, "") - of(&one.wing, &one.check);
                means.entry((&one.wing, &one.check)).or_insert((one.hours_h, Vec::new())).1.push(free);
            }
            let until_h = means.values().map(|(hours_h, _)| *hours_h).fold(0.0, f64::max);
            if means.is_empty() || until_h <= 0.0 {
                continue;
            }
            let curve = |hours_h: f64| fit.row_drift(set, row, hours_h);
            let points = means
                .into_values()
                .filter_map(|(hours_h, free)| {
                    let mean_mm = curve(hours_h)?.mean_mm + free.iter().sum::<f64>() / free.len() as f64;
                    Some(DriftPoint { hours_h, mean_mm })
                })
                .collect();
            let path = (0..=STATIONS)
                .filter_map(|step| curve(until_h * f64::from(step) / f64::from(STATIONS)))
                .map(|at| DriftStation {
                    hours_h: at.hours_h,
                    mean_mm: at.mean_mm,
                    lower_mm: at.lower_mm,
                    upper_mm: at.upper_mm,
                })
                .collect();
            series.push(DriftSeries { model: set.model().to_owned(), row, points, path });
        }
        drawn.push(draft.figures(
            Layout::Panels,
            &format!("Model {}: mean drift of each row, mm", set.model()),
            "Line: the fitted drift, with the 95 % interval of its mean. Ring: one check of one wing, less the offsets of wing and check. \
             Rings spread by the rates of their wings; a bend that the line does not follow is a misfit.",
            &format!("curve-{}", drawn.len()),
            drift_figures(&series)?,
        ));
    }
    Ok(section("drift", "Drift curves against the data", &html! { @for one in &drawn { (one) } }))
}

fn shapes(fit: &WearFit) -> Markup {
    let best = fit.comparison().iter().map(|one| one.aic).fold(f64::INFINITY, f64::min);
    let rows: Vec<Vec<Cell>> = fit
        .comparison()
        .iter()
        .map(|one| {
            vec![
                Cell::words(&one.kind),
                Cell::figure(one.scale_h.map_or_else(|| "\u{2013}".to_owned(), |scale_h| number(scale_h, 0))),
                Cell::figure(number(one.deviance, 1)),
                Cell::figure(signed(one.aic - best, 1)),
                Cell::figure(number(one.bic, 1)),
                Cell::figure(format!("{} %", number(100.0 * one.weight, 1))),
            ]
        })
        .collect();
    let random = fit.model().random;
    section(
        "shapes",
        "Shapes and random effects compared",
        &html! {
            @if rows.is_empty() {
                p { "One shape was given, " (fit.shape().name()) ", so none was compared with it." }
            } @else {
                (table(
                    "Time shapes by maximum likelihood",
                    &["Shape", "Scale, h", "Deviance", "AIC above the best", "BIC", "Weight"],
                    &rows,
                ))
            }
            @if !random.is_empty() { p { "Random effects in the model: " (random.join(", ")) "." } }
        },
    )
}

fn effects(draft: &mut Draft, frame: &WearFrame) -> Result<Markup, ReportError> {
    let mut groups: BTreeMap<(&str, &str), Vec<Bar>> = BTreeMap::new();
    for one in frame.effects().iter().filter(|one| one.group != "restart") {
        let name = if one.level.is_empty() { one.wing.clone() } else { format!("{} {}", one.wing, one.level) };
        groups.entry((&one.group, &one.effect)).or_default().push(Bar {
            name,
            value: one.value,
            reach: 1.96 * one.sd,
        });
    }
    let mut figures = Vec::new();
    for ((group, effect), mut bars) in groups {
        bars.sort_by(|a, b| a.value.total_cmp(&b.value));
        let step = bars.len().div_ceil(400).max(1);
        let shown: Vec<Bar> = bars.into_iter().step_by(step).collect();
        let unit = if effect == "offset" { "mm" } else { "mm/m in 100 h" };
        figures.extend(bars_figure(&format!("{} of each {group}", words::capital(effect)), unit, &shown)?);
    }
    let figures = draft.figures(
        Layout::Panels,
        "Random effects, in order of size",
        "Dot: what the readings say of the effect, drawn towards zero. Bar: 1.96 conditional standard deviations to each side, the fixed \
         part taken as known.",
        "effect",
        figures,
    );
    Ok(section("effects", "Random effects", &figures))
}
