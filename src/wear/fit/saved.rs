//! A wear fit as a file, to be used for wings elsewhere.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::check::Fleet;
use crate::wear::fit::wear_fit::UncheckedFit;
use crate::wear::{ReductionPart, WearFit};
use crate::wing::{LineSet, shown};

/// What the file says it is.
const FORMAT: &str = "linedrift wear fit";
/// Version of the file's layout; another one is refused.
const VERSION: u32 = 2;
/// No wing flies longer, h.
const MOST_HOURS_H: f64 = 1e6;

/// What stands before the checksum, the last thing in the document.
const CHECKSUM: &str = ",\"crc32\":\"";
/// What whoever opens the file should know.
const CAUTION: &str = "Rates of one fleet: a forecast from them is no promise that a wing is fit to fly.";

/// A fitted wear model with what must be known to use it for wings that were not in it. Nothing of the fleet's wings is
/// inside: no names, no readings, only estimates, counts and the range of hours seen.
///
/// ```
/// use linedrift::simulate::FleetSpec;
/// use linedrift::wear::{SavedFit, WearSpec};
///
/// let fleet = FleetSpec::default().wings(6).seed(3).run()?.fleet;
/// let saved = SavedFit::new(WearSpec::default().fit(&fleet)?, &fleet);
/// assert_eq!(SavedFit::from_json(&saved.to_json()?)?, saved);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "UncheckedSavedFit")]
pub struct SavedFit {
    format: String,
    version: u32,
    library: String,
    demo: bool,
    hours_from_h: f64,
    hours_to_h: f64,
    fit: WearFit,
}

/// A saved fit as a document gives it, before it is checked.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedSavedFit {
    format: String,
    version: u32,
    library: String,
    demo: bool,
    hours_from_h: f64,
    hours_to_h: f64,
    fit: UncheckedFit,
    #[serde(default)]
    #[allow(dead_code, reason = "said to people, not to the program")]
    caution: Option<String>,
    #[serde(default)]
    crc32: Option<String>,
}

impl TryFrom<UncheckedSavedFit> for SavedFit {
    type Error = SavedFitError;

    fn try_from(read: UncheckedSavedFit) -> Result<Self, SavedFitError> {
        let UncheckedSavedFit { format, version, library, demo, hours_from_h, hours_to_h, fit, .. } = read;
        if format != FORMAT {
            return Err(SavedFitError::Format { got: plain(&format), expected: FORMAT });
        }
        if version != VERSION {
            return Err(SavedFitError::Version { got: version, expected: VERSION, library: plain(&library) });
        }
        if !(0.0 <= hours_from_h && hours_from_h <= hours_to_h && hours_to_h <= MOST_HOURS_H) {
            return Err(SavedFitError::Damaged { what: "hours seen" });
        }
        Ok(Self { format, version, library, demo, hours_from_h, hours_to_h, fit: fit.try_into()? })
    }
}

/// Whether a fit on the bundled invented demo may serve for other wings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DemoFit {
    /// No: its wings, models and rates are invented.
    #[default]
    Refused,
    /// The user insists.
    UsedForRealWings,
}

/// Why a saved fit cannot be written, read or used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SavedFitError {
    /// The text is not a document of the expected shape.
    #[error("line {line}, column {column}: not a saved wear fit ({message})")]
    Text {
        /// Line of the text, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong.
        message: String,
    },
    /// The document is something else.
    #[error("the format is `{got}`, expected `{expected}`")]
    Format {
        /// What the document says it is.
        got: String,
        /// What it should say.
        expected: &'static str,
    },
    /// The document is of another version.
    #[error(
        "the file is of version {got} (written by linedrift {library}), this program reads version {expected}: save the fit again"
    )]
    Version {
        /// Version of the document.
        got: u32,
        /// Version that can be read.
        expected: u32,
        /// Version of the library that wrote it.
        library: String,
    },
    /// Parts of the document contradict each other or are out of range.
    #[error("the saved wear fit is damaged: {what} do not hold together")]
    Damaged {
        /// Which part.
        what: &'static str,
    },
    /// A fit on the invented demo, asked to serve for other wings.
    #[error(
        "this wear fit was made on the invented demo: its rates are invented, and these wings are not the demo's. Fit a real \
         fleet with `wear --save`"
    )]
    Demo,
    /// The fit cannot be written.
    #[error("the wear fit cannot be written: {message}")]
    Write {
        /// Why.
        message: String,
    },
}

/// What a document says of itself, before the rest is read.
#[derive(Deserialize)]
struct Head {
    format: String,
    version: u32,
    #[serde(default)]
    library: String,
}

impl SavedFit {
    /// Takes a fit with what its fleet says of the hours seen and of the demo.
    #[must_use]
    pub fn new(fit: WearFit, fleet: &Fleet) -> Self {
        let hours = || {
            let checks = fleet.histories().iter().flat_map(|history| &history.checks);
            checks.filter(|check| !check.readings.is_empty()).map(|check| check.hours_h)
        };
        let hours_to_h = hours().fold(0.0, f64::max);
        Self::seen(fit, [hours().fold(hours_to_h, f64::min), hours_to_h], fleet.is_demo())
    }

    /// The same of a reduced fleet.
    #[must_use]
    pub fn of_part(fit: WearFit, part: &ReductionPart) -> Self {
        Self::seen(fit, part.hours_seen_h(), part.is_demo())
    }

    fn seen(fit: WearFit, [hours_from_h, hours_to_h]: [f64; 2], demo: bool) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            library: env!("CARGO_PKG_VERSION").to_owned(),
            demo,
            hours_from_h,
            hours_to_h,
            fit,
        }
    }

    /// The fit.
    #[must_use]
    pub fn fit(&self) -> &WearFit {
        &self.fit
    }

    /// The fit, when it may serve for the wings of a fleet.
    ///
    /// # Errors
    /// [`SavedFitError::Demo`] when the fit was made on the invented demo, the fleet is not the demo, and nobody insists.
    pub fn fit_for(&self, fleet: &Fleet, demo: DemoFit) -> Result<&WearFit, SavedFitError> {
        if self.demo && !fleet.is_demo() && demo == DemoFit::Refused {
            Err(SavedFitError::Demo)
        } else {
            Ok(&self.fit)
        }
    }

    /// Whether the fit was made on the bundled invented demo.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.demo
    }

    /// Fewest and most hours flown at the checks the fit rests on, h.
    #[must_use]
    pub fn hours_seen_h(&self) -> [f64; 2] {
        [self.hours_from_h, self.hours_to_h]
    }

    /// Version of the library that made the fit.
    #[must_use]
    pub fn library(&self) -> &str {
        &self.library
    }

    /// Whether the fit has a rate for every material in every row of a line set.
    #[must_use]
    pub fn knows(&self, set: &LineSet) -> bool {
        self.fit.knows(set)
    }

    /// The fit as a JSON document.
    ///
    /// # Errors
    /// [`SavedFitError::Write`] when a figure cannot be written.
    pub fn to_json(&self) -> Result<String, SavedFitError> {
        let text =
            serde_json::to_string(self).map_err(|error| SavedFitError::Write { message: error.to_string() })?;
        let body = text.strip_suffix('}').unwrap_or(&text);
        let body = format!("{body},\"caution\":\"{CAUTION}\"");
        Ok(format!("{body}{CHECKSUM}{:08x}\"}}\n", crc32fast::hash(body.as_bytes())))
    }

    /// Reads and checks a document. What it returns is safe to use: every length agrees, every figure is in its range.
    ///
    /// # Errors
    /// [`SavedFitError`]: not such a document, of another version, or damaged.
    pub fn from_json(text: &str) -> Result<Self, SavedFitError> {
        let unread = |error: serde_json::Error| SavedFitError::Text {
            line: error.line(),
            column: error.column(),
            message: plain(&error.to_string()),
        };
        let head: Head = serde_json::from_str(text).map_err(unread)?;
        if head.format != FORMAT {
            return Err(SavedFitError::Format { got: plain(&head.format), expected: FORMAT });
        }
        if head.version != VERSION {
            return Err(SavedFitError::Version {
                got: head.version,
                expected: VERSION,
                library: plain(&head.library),
            });
        }
        let saved: UncheckedSavedFit = serde_json::from_str(text).map_err(unread)?;
        if let Some(stated) = &saved.crc32 {
            // of the text up to the checksum itself, so that a figure that was changed is not taken for a fit's
            let body = text.rfind(CHECKSUM).and_then(|at| text.get(..at));
            if body.is_none_or(|body| format!("{:08x}", crc32fast::hash(body.as_bytes())) != *stated) {
                return Err(SavedFitError::Damaged { what: "checksum and figures" });
            }
        }
        saved.try_into()
    }
}

impl WearFit {
    /// Whether the fit has a rate for every material in every row of a line set.
    #[must_use]
    pub fn knows(&self, set: &LineSet) -> bool {
        self.layout.knows(set, self.dropped_terms())
    }

    /// What does not hold together in a fit that was not made here.
    pub(crate) fn fault(&self) -> Option<&'static str> {
        let Some(first) = self.components.first() else { return Some("time shapes") };
        let scales = self.components.iter().all(|component| {
            let mut shapes = component.basis.shapes();
            shapes.all(|shape| shape.scale_h().is_none_or(|scale_h| (1e-3..=MOST_HOURS_H).contains(&scale_h)))
                && (0.0..=1.0).contains(&component.weight)
        });
        let total: f64 = self.components.iter().map(|component| component.weight).sum();
        if !scales || (total - 1.0).abs() > 1e-6 {
            return Some("time shapes");
        }
        if let Some(what) = self.layout.fault(self.spec.covariates.len()) {
            return Some(what);
        }
        let parts = self.components.iter().find_map(|component| component.mixed.fault_in(&self.layout.structure));
        if parts.is_some() {
            return parts;
        }
        // every component keeps the same columns, and the reported rows are those of the first
        let kept = self.components.iter().all(|component| component.mixed.fixed().len() == first.mixed.fixed().len());
        // an average's estimates are those of no component
        let own = |estimate: f64| if self.averaged { 0.0 } else { estimate };
        let terms = first.mixed.fixed().iter().map(|effect| (&effect.name, own(effect.estimate)));
        let rows = self.terms().iter().map(|term| (&term.term, own(term.estimate)));
        let spread = self.spread().iter().all(|row| row.sd.is_none_or(|sd| sd >= 0.0));
        if kept && terms.eq(rows) && spread { None } else { Some("reported terms") }
    }
}

/// The first part of a text from a file, without what could move a cursor.
fn plain(text: &str) -> String {
    shown(text).chars().take(120).collect()
}
