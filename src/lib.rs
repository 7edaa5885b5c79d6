//! Paraglider line checks turned into trim, wear and the next date, with honest intervals.
//!
//! A wing hangs on some 200 lines that shrink and stretch by millimetres over the hours. Someone measures them now and then;
//! this library says what the measurements mean. The tour, in the order in which data flows:
//!
//! 1. [`wing`]: what the maker drew. A [`LineSet`] is a model's lines and the cascade they hang on.
//! 2. [`check`]: what was measured. A [`Fleet`] holds line sets and one [`History`] per wing, with its [`Check`]s and
//!    [`Action`]s; a deviation is positive when a line is longer than nominal.
//! 3. [`trim`]: what it means in flight. [`TrimSpec`] judges one check: a verdict per line, the trim of the rows, and the
//!    change of incidence with its interval.
//! 4. [`wear`]: how lines age. [`WearSpec`] fits a mixed model to a fleet: a rate per material and row, and how wings, checks
//!    and lines differ. The engine under it, [`stats::mixed`], knows no wings.
//! 5. [`forecast`]: when to look again. [`DueSpec`] draws the true paths of every wing's lines and finds the hours at which the
//!    chance that a limit is crossed reaches an accepted risk.
//! 6. [`simulate`] makes invented fleets with known truth; `fleet` (feature `frames`) reads and writes the tables; [`report`]
//!    draws figures and writes the page. [`plan`] (above [`wear`] in the house) says what to adjust.
//!
//! ```
//! use linedrift::{DueSpec, TrimSpec, WearSpec, simulate::FleetSpec};
//!
//! let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
//! let history = &fleet.histories()[0];
//! if let Some(check) = history.checks.last() {
//!     let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, check)?;
//!     println!("{trim}");
//! }
//! let fit = WearSpec::default().fit(&fleet)?;
//! println!("{fit}");
//! println!("{}", DueSpec::default().draws(500).run(&fleet, &fit)?);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Everywhere the pattern is the same: a *spec* with named setters and documented defaults, then `.run(…)` or `.fit(…)`, then
//! an immutable result that prints on one screen and gives its rows. Units are part of names: `_mm _m _n _h _deg _kg _pct`.
//!
//! A change of trim alters how a wing flies and can make it dangerous; the maker's manual and the local rules come first.
//! Nothing here says that a wing is fit to fly: see `docs/limits.md`.
#![forbid(unsafe_code)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp))]

/// Setters of a spec, each `field: type;`, or `field: type => Some;` for one that is unset at first, with its documentation.
macro_rules! setters {
    ($($(#[$doc:meta])* $field:ident: $type:ty $(=> $some:ident)?;)*) => {$(
        $(#[$doc])*
        #[must_use]
        pub fn $field(mut self, $field: $type) -> Self {
            self.$field = setters!(@value $field $($some)?);
            self
        }
    )*};
    (@value $field:ident) => { $field };
    (@value $field:ident Some) => { Some($field) };
}

pub mod check;
mod error;
#[cfg(feature = "frames")]
pub mod fleet;
pub mod forecast;
pub mod plan;
pub mod report;
pub mod simulate;
pub mod stats;
pub mod trim;
pub mod wear;
pub mod wing;

pub use check::{Action, Check, Fleet, History, Reading, Verdict};
pub use error::{Error, Result};
#[cfg(feature = "frames")]
pub use fleet::{Folder, FolderSpec};
pub use forecast::{DueSpec, DueTable, Limits};
pub use jiff::civil::Date;
pub use trim::{Trim, TrimSpec};
pub use wear::{Shape, ShapeChoice, WearFit, WearSpec, WingEffects};
pub use wing::{Line, LineSet, Row, Segment, Side, Wing};

/// The README's example, compiled and run with the other examples.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
pub struct Readme;

/// The examples of `docs/frames.md`, compiled and run with the others.
#[cfg(all(doctest, feature = "frames"))]
#[doc = include_str!("../docs/frames.md")]
pub struct FramesPage;

/// The examples of the page for researchers, compiled and run with the other examples.
#[cfg(doctest)]
#[doc = include_str!("../docs/researchers.md")]
pub struct Researchers;
