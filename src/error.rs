//! One error for the whole crate.

use thiserror::Error;

/// Any error of this crate: each room's own, unchanged.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Error {
    /// Lines and segments do not make a line set.
    #[error(transparent)]
    LineSet(#[from] crate::wing::LineSetError),
    /// Numbers do not make a planform.
    #[error(transparent)]
    Planform(#[from] crate::wing::PlanformError),
    /// A user's fibre cannot be.
    #[error(transparent)]
    Material(#[from] crate::wing::MaterialError),
    /// A check cannot be looked through for doubtful readings.
    #[error(transparent)]
    Doubt(#[from] crate::check::doubt::DoubtError),
    /// A gauge study cannot be analysed.
    #[error(transparent)]
    Gauge(#[from] crate::check::repeatability::GaugeError),
    /// A measuring sheet is at fault.
    #[error(transparent)]
    Sheet(#[from] crate::check::sheet::SheetFaults),
    /// Histories and line sets do not make a fleet.
    #[error(transparent)]
    Fleet(#[from] crate::check::FleetError),
    /// A mixed model cannot be fitted.
    #[error(transparent)]
    Mixed(#[from] crate::stats::mixed::MixedError),
    /// A check cannot be judged.
    #[error(transparent)]
    Trim(#[from] crate::trim::TrimError),
    /// The wear model cannot be fitted.
    #[error(transparent)]
    Wear(#[from] crate::wear::WearError),
    /// A reduced part of a fleet cannot be read.
    #[error(transparent)]
    Part(#[from] crate::wear::PartError),
    /// Parts do not belong to one fleet.
    #[error(transparent)]
    Merge(#[from] crate::wear::MergeError),
    /// An adjustment cannot be planned.
    #[error(transparent)]
    Plan(#[from] crate::plan::PlanError),
    /// The next check cannot be found.
    #[error(transparent)]
    Forecast(#[from] crate::forecast::ForecastError),
    /// A fleet cannot be simulated.
    #[error(transparent)]
    Simulate(#[from] crate::simulate::SimulateError),
    /// A report cannot be made.
    #[error(transparent)]
    Report(#[from] crate::report::ReportError),
}

/// A result with this crate's [`enum@Error`].
pub type Result<T> = std::result::Result<T, Error>;
