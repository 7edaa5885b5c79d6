//! What fleet to invent.

use std::ops::Range;

use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::drawing::{MODELS, line_sets};
use super::wing_run::{WingRun, normal, wing_run};
use super::{MaterialTimeShape, ModelRate, Rate, SimulateError, Simulated, SpanRate, Spreads, Truth};
use crate::Date;
use crate::check::Fleet;
use crate::wear::Shape;
use crate::wing::{LineSet, Row};

/// Seed of the bundled demo.
const DEMO_SEED: u64 = 2026;

/// What fleet to invent. Each wing has its own stream of random numbers, taken from the seed and the wing's number, so
/// that the result does not depend on the number of threads and a wing stays the same when more are added.
///
/// | setting | default | why |
/// |---|---|---|
/// | `wings` | 48 | a club's loft |
/// | `unchecked_wings` | 0 | the last so many wings are new and have no check yet |
/// | `models` | 4 | all of [`MODELS`] |
/// | `start`, `years` | 2020-03-01, 6 | the period of the checks |
/// | `checks_per_year` | by hours | a check every 40–120 h, at the latest after two years |
/// | `seed` | 1 | |
/// | `offset` | −0.8 mm | sets come a little short |
/// | `rate` | nine rates | UHMWPE shortens, rear rows most; sheathed aramid in front lengthens (practice) |
/// | `span_rate` | none | |
/// | `spreads` | [`Spreads::default`] | order of size of hand measurements (practice) |
/// | `shape` | linear | |
/// | `material_shapes` | none | materials that wear by a time shape of their own |
/// | `missing_share` | 0.015 | lines skipped |
/// | `misreading_share` | 0 | |
/// | `rounding_mm` | 1 mm | instruments show whole millimetres |
/// | `repeats` | 1 | |
/// | `adjusted_share` | 0 | share of the wings whose owners have them adjusted when out of trim |
/// | `adjust_past_mm` | 6 mm | a main is adjusted when the median of its lines is further off than this |
/// | `adjust_spread_mm` | 1 mm | how exactly an adjustment meets its aim |
///
/// ```
/// use linedrift::Row;
/// use linedrift::simulate::FleetSpec;
///
/// let made = FleetSpec::default().wings(5).rate("uhmwpe", Row::C, -1.5).seed(3).run()?;
/// println!("{} wings", made.fleet.histories().len());
/// // the truth is kept: what a fit should find
/// println!("{:?}", made.truth.wings[0]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct FleetSpec {
    pub(super) wings: usize,
    pub(super) unchecked_wings: usize,
    pub(super) models: usize,
    pub(super) start: Date,
    pub(super) years: f64,
    pub(super) checks_per_year: Option<f64>,
    pub(super) seed: u64,
    pub(super) offset_mm: f64,
    pub(super) rates: Vec<Rate>,
    pub(super) span_rates: Vec<SpanRate>,
    pub(super) spreads: Spreads,
    pub(super) shape: Shape,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) material_shapes: Vec<MaterialTimeShape>,
    pub(super) missing_share: f64,
    pub(super) misreading_share: f64,
    pub(super) rounding_mm: f64,
    pub(super) repeats: u32,
    pub(super) adjusted_share: f64,
    pub(super) adjust_past_mm: f64,
    pub(super) adjust_spread_mm: f64,
}

impl Default for FleetSpec {
    fn default() -> Self {
        let rates = [
            ("uhmwpe", Row::A, -0.30),
            ("uhmwpe", Row::B, -0.55),
            ("uhmwpe", Row::C, -1.10),
            ("uhmwpe", Row::Stabilo, -1.30),
            ("uhmwpe", Row::Brake, -1.50),
            ("aramid", Row::A, 0.55),
            ("aramid", Row::B, 0.12),
            ("lcp", Row::A, 0.10),
            ("lcp", Row::B, -0.05),
        ];
        Self {
            wings: 48,
            unchecked_wings: 0,
            models: MODELS.len(),
            start: Date::constant(2020, 3, 1),
            years: 6.0,
            checks_per_year: None,
            seed: 1,
            offset_mm: -0.8,
            rates: rates
                .into_iter()
                .map(|(material, row, mm_per_m)| Rate { material: material.to_owned(), row, mm_per_m })
                .collect(),
            span_rates: Vec::new(),
            spreads: Spreads::default(),
            shape: Shape::LINEAR,
            material_shapes: Vec::new(),
            missing_share: 0.015,
            misreading_share: 0.0,
            rounding_mm: 1.0,
            repeats: 1,
            adjusted_share: 0.0,
            adjust_past_mm: 6.0,
            adjust_spread_mm: 1.0,
        }
    }
}

impl FleetSpec {
    /// The bundled demo: the loft of an invented hill-flying club, 48 wings of four invented models over six years, two
    /// of them new, six in ten adjusted when out of trim. The wings drift and differ less than by default, so that some
    /// are over a limit, some are near and most are not. A little of what real fleets may do beyond the plainest model is in
    /// it: rows of a wing, lines and models each have small rates of their own.
    #[must_use]
    pub fn demo() -> Self {
        Self::default()
            .seed(DEMO_SEED)
            .unchecked_wings(2)
            .adjusted_share(0.6)
            .spreads(Spreads {
                wing_rate_mm_per_m: 0.12,
                wing_row_mm_per_m: 0.08,
                line_rate_mm_per_m: 0.05,
                model_rate_mm_per_m: 0.05,
                line_offset_mm: 1.4,
                reading_mm: 1.5,
                ..Spreads::default()
            })
            .rate("uhmwpe", Row::C, -0.80)
            .rate("uhmwpe", Row::Stabilo, -0.60)
            .rate("uhmwpe", Row::Brake, -1.20)
            .rate("aramid", Row::A, 0.20)
    }

    setters! {
        /// Number of wings, 1 to 1,000,000.
        wings: usize;
        /// How many of the wings (the last ones) are new and not checked yet, 0 to all.
        unchecked_wings: usize;
        /// How many of the four invented [`MODELS`] the fleet flies, 1 to 4.
        models: usize;
        /// First day of the period.
        start: Date;
        /// Length of the period, years, 0.5 to 50.
        years: f64;
        /// Checks per wing and year, 0.1 to 12, in place of a check every 40–120 h.
        checks_per_year: f64 => Some;
        /// Seed of the random numbers.
        seed: u64;
        /// Offset of the whole fleet, mm.
        offset_mm: f64;
    }

    /// True rate of a material in a row, mm per metre in the first 100 h. A pair never named does not drift.
    #[must_use]
    pub fn rate(mut self, material: &str, row: Row, mm_per_m: f64) -> Self {
        match self.rates.iter_mut().find(|known| known.material == material && known.row == row) {
            Some(known) => known.mm_per_m = mm_per_m,
            None => self.rates.push(Rate { material: material.to_owned(), row, mm_per_m }),
        }
        self
    }

    /// True change of a row's rate along the span, mm per metre in the first 100 h (times `η² − 1/3`).
    #[must_use]
    pub fn span_rate(mut self, row: Row, mm_per_m: f64) -> Self {
        self.span_rates.retain(|known| known.row != row);
        self.span_rates.push(SpanRate { row, mm_per_m });
        self
    }

    setters! {
        /// True spreads, all at once.
        spreads: Spreads;
    }

    /// Spread of the rate of one row of one wing, mm per metre in the first 100 h.
    #[must_use]
    pub fn wing_row_spread(mut self, mm_per_m: f64) -> Self {
        self.spreads.wing_row_mm_per_m = mm_per_m;
        self
    }

    /// Spread of the rate of one line of one wing, mm per metre in the first 100 h.
    #[must_use]
    pub fn line_rate_spread(mut self, mm_per_m: f64) -> Self {
        self.spreads.line_rate_mm_per_m = mm_per_m;
        self
    }

    /// Spread of what a model adds to the rate of one material in one row, mm per metre in the first 100 h.
    #[must_use]
    pub fn model_rate_spread(mut self, mm_per_m: f64) -> Self {
        self.spreads.model_rate_mm_per_m = mm_per_m;
        self
    }

    /// Time shape of one material, where that is another than the others'.
    #[must_use]
    pub fn material_shape(mut self, material: &str, shape: Shape) -> Self {
        self.material_shapes.retain(|own| own.material != material);
        self.material_shapes.push(MaterialTimeShape { material: material.to_owned(), shape });
        self
    }

    setters! {
        /// Time shape of the wear.
        shape: Shape;
        /// Share of readings left out, 0 to 0.9.
        missing_share: f64;
        /// Share of readings spoilt as hands spoil them (digits swapped, a hundred off, …), 0 to 0.5.
        misreading_share: f64;
        /// Readings are rounded to multiples of this, mm, 0 (not rounded) to 100.
        rounding_mm: f64;
        /// Readings per line and check, 1 to 20.
        repeats: u32;
        /// Share of the wings that are adjusted when a check finds them out of trim, 0 to 1.
        adjusted_share: f64;
        /// How far the median relative deviation of a main's lines must be off before it is adjusted, mm, above 5.
        adjust_past_mm: f64;
        /// Standard deviation of an adjustment about its aim, mm.
        adjust_spread_mm: f64;
    }

    /// Makes the fleet. Wings are made in parallel; the result does not depend on how many threads there are.
    ///
    /// # Errors
    /// [`SimulateError::OutOfRange`] for a setting outside its range, [`SimulateError::NoDate`] when a check would fall
    /// past the calendar's end.
    pub fn run(&self) -> Result<Simulated, SimulateError> {
        self.run_part(0..self.wings)
    }

    /// Makes some of the wings only, by their numbers from 0: the same wings as [`FleetSpec::run`] makes, so that a large
    /// fleet can be made part by part. Numbers past the last wing are left out.
    ///
    /// # Errors
    /// As [`FleetSpec::run`].
    pub fn run_part(&self, wings: Range<usize>) -> Result<Simulated, SimulateError> {
        self.validate()?;
        let sets = line_sets(self.models)?;
        let wings = wings.start..wings.end.min(self.wings);
        let runs: Vec<WingRun> =
            wings.into_par_iter().map(|index| wing_run(self, &sets, index)).collect::<Result<_, _>>()?;
        let mut histories = Vec::with_capacity(runs.len());
        let mut truth = Truth {
            spec: self.clone(),
            model_rates: self.true_model_rates(),
            wings: Vec::with_capacity(runs.len()),
            misreadings: Vec::new(),
        };
        for run in runs {
            histories.push(run.history);
            truth.wings.push(run.truth);
            truth.misreadings.extend(run.misreadings);
        }
        Ok(Simulated { fleet: Fleet::new(sets, histories)?, truth })
    }

    /// How many wings the fleet has.
    #[must_use]
    pub fn wing_count(&self) -> usize {
        self.wings
    }

    /// The true rates.
    #[must_use]
    pub fn true_rates(&self) -> &[Rate] {
        &self.rates
    }

    /// What each model adds to the true rates, drawn from the seed; empty where models do not differ.
    #[must_use]
    pub(crate) fn true_model_rates(&self) -> Vec<ModelRate> {
        if self.spreads.model_rate_mm_per_m <= 0.0 {
            return Vec::new();
        }
        // wings have the streams from 1 on
        let mut rng = ChaCha12Rng::seed_from_u64(self.seed);
        let pairs = MODELS.iter().flat_map(|model| self.rates.iter().map(move |rate| (model, rate)));
        pairs
            .map(|(model, rate)| ModelRate {
                model: (*model).to_owned(),
                material: rate.material.clone(),
                row: rate.row,
                mm_per_m: normal(&mut rng, self.spreads.model_rate_mm_per_m),
            })
            .collect()
    }

    /// The true changes of rates along the span.
    #[must_use]
    pub fn true_span_rates(&self) -> &[SpanRate] {
        &self.span_rates
    }

    /// The true spreads.
    #[must_use]
    pub fn true_spreads(&self) -> Spreads {
        self.spreads
    }

    /// The time shape of all materials that have none of their own.
    #[must_use]
    pub fn time_shape(&self) -> Shape {
        self.shape
    }

    /// The fleet's offset, mm.
    #[must_use]
    pub fn common_offset_mm(&self) -> f64 {
        self.offset_mm
    }

    /// What the fleet's rates make of a line after some hours, mm:
    /// `Σ_m (rate[m, row] + span[row]·(η² − 1/3))·L_m·g_m(h)`, with `L_m` the metres of material m in its path, `g_m` its time
    /// shape and `η` the line's place along the half span. `None` when the set has no such line.
    #[must_use]
    pub fn fleet_drift_mm(&self, set: &LineSet, line: usize, hours_h: f64) -> Option<f64> {
        let place = set.lines().get(line)?;
        let along = self.span_rates.iter().find(|rate| rate.row == place.row).map_or(0.0, |rate| rate.mm_per_m);
        let by_span = along * (place.span.powi(2) - 1.0 / 3.0);
        let of = |material: &str| {
            let known = self.rates.iter().find(|rate| rate.row == place.row && rate.material == material);
            known.map_or(0.0, |rate| rate.mm_per_m) + by_span
        };
        Some(self.worn_mm(set, line, hours_h, of))
    }

    /// What rates by material, mm per metre in the first 100 h, make of a line after some hours, mm.
    pub(super) fn worn_mm(&self, set: &LineSet, line: usize, hours_h: f64, rate: impl Fn(&str) -> f64) -> f64 {
        let shape = |material: &str| {
            let own = self.material_shapes.iter().find(|own| own.material == material);
            own.map_or(self.shape, |own| own.shape)
        };
        let each = set
            .exposure_m(line)
            .into_iter()
            .map(|exposure| rate(exposure.material) * exposure.length_m * shape(exposure.material).at(hours_h));
        each.sum()
    }

    fn validate(&self) -> Result<(), SimulateError> {
        let spreads = self.spreads;
        let not_negative = "a finite number, 0 or more";
        within("wings", self.wings as f64, 1.0, 1e6, "1 to 1,000,000")?;
        within(
            "unchecked_wings",
            self.unchecked_wings as f64,
            0.0,
            self.wings as f64,
            "no more than there are wings",
        )?;
        within("models", self.models as f64, 1.0, MODELS.len() as f64, "1 to 4")?;
        within("years", self.years, 0.5, 50.0, "0.5 to 50")?;
        within("checks_per_year", self.checks_per_year.unwrap_or(1.0), 0.1, 12.0, "0.1 to 12")?;
        within("offset_mm", self.offset_mm, -1e4, 1e4, "−10,000 to 10,000")?;
        for rate in &self.rates {
            within("rate", rate.mm_per_m, -100.0, 100.0, "−100 to 100 mm/m")?;
        }
        for rate in &self.span_rates {
            within("span_rate", rate.mm_per_m, -100.0, 100.0, "−100 to 100 mm/m")?;
        }
        for (what, value) in [
            ("wing_offset_mm", spreads.wing_offset_mm),
            ("wing_rate_mm_per_m", spreads.wing_rate_mm_per_m),
            ("wing_row_mm_per_m", spreads.wing_row_mm_per_m),
            ("line_rate_mm_per_m", spreads.line_rate_mm_per_m),
            ("model_rate_mm_per_m", spreads.model_rate_mm_per_m),
            ("check_offset_mm", spreads.check_offset_mm),
            ("line_offset_mm", spreads.line_offset_mm),
            ("reading_mm", spreads.reading_mm),
            ("adjust_spread_mm", self.adjust_spread_mm),
        ] {
            within(what, value, 0.0, 1e3, not_negative)?;
        }
        within("wing_correlation", spreads.wing_correlation, -1.0, 1.0, "−1 to 1")?;
        for shape in self.material_shapes.iter().map(|own| own.shape).chain([self.shape]) {
            within("scale_h", shape.scale_h().unwrap_or(1.0), 1e-3, 1e6, "0.001 to 1,000,000 h")?;
        }
        within("missing_share", self.missing_share, 0.0, 0.9, "0 to 0.9")?;
        within("misreading_share", self.misreading_share, 0.0, 0.5, "0 to 0.5")?;
        within("rounding_mm", self.rounding_mm, 0.0, 100.0, "0 to 100 mm")?;
        within("repeats", f64::from(self.repeats), 1.0, 20.0, "1 to 20")?;
        within("adjusted_share", self.adjusted_share, 0.0, 1.0, "0 to 1")?;
        within("adjust_past_mm", self.adjust_past_mm, 5.0, 1e3, "5 mm or more: half a turn")
    }
}

pub(super) fn within(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
    expected: &'static str,
) -> Result<(), SimulateError> {
    if (low..=high).contains(&value) { Ok(()) } else { Err(SimulateError::OutOfRange { what, value, expected }) }
}
