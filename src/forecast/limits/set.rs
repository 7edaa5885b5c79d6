//! The limits that a forecast watches.

use serde::{Deserialize, Serialize};

use crate::forecast::ForecastError;
use crate::forecast::error::positive;

/// Limits of the true line lengths, each a setter of the same name.
///
/// | limit | default | why |
/// |---|---|---|
/// | `line_mm` | 10 mm either way, unless the line has its own tolerance | practice: tolerance of a single line |
/// | `row_difference_mm` | 10 mm either way | practice: below it a wing needs no adjustment |
/// | `incidence_deg` | 0.5° either way | our default |
/// | `left_right_deg` | 0.5° either way | our default |
/// | `twist_deg` | 1.0° either way | our default |
/// | `brake_short_mm` | 20 mm short (reached from above; a long brake is no limit here) | our default |
/// | `offset_mm` | 50 mm either way | practice: limits of this order are seen on uniformly long or short sets |
///
/// `line_mm` is on the relative deviation of each line of A–D and stabilo (deviation less the common offset),
/// `row_difference_mm` on the difference of the plain means of any two rows among A–D, `brake_short_mm` on the brake row's
/// mean relative deviation, `offset_mm` on the common offset itself. `left_right_deg` is on the incidence of the left side less
/// that of the right, `twist_deg` on its change from the centre to the tips, both where the incidence is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Limits {
    line_mm: f64,
    row_difference_mm: f64,
    incidence_deg: f64,
    left_right_deg: f64,
    twist_deg: f64,
    brake_short_mm: f64,
    offset_mm: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            line_mm: 10.0,
            row_difference_mm: 10.0,
            incidence_deg: 0.5,
            left_right_deg: 0.5,
            twist_deg: 1.0,
            brake_short_mm: 20.0,
            offset_mm: 50.0,
        }
    }
}

macro_rules! limit {
    ($name:ident, $read:ident, $what:literal) => {
        #[doc = concat!("Sets ", $what, ".")]
        #[must_use]
        pub const fn $name(mut self, $name: f64) -> Self {
            self.$name = $name;
            self
        }

        #[doc = concat!("Reads ", $what, ".")]
        #[must_use]
        pub const fn $read(&self) -> f64 {
            self.$name
        }
    };
}

impl Limits {
    limit!(line_mm, line_limit_mm, "the limit of a single line without a tolerance of its own, mm");
    limit!(row_difference_mm, row_difference_limit_mm, "the limit of a difference of two row means, mm");
    limit!(incidence_deg, incidence_limit_deg, "the limit of the incidence change, degrees");
    limit!(left_right_deg, left_right_limit_deg, "the limit of the incidence left less right, degrees");
    limit!(twist_deg, twist_limit_deg, "the limit of the incidence change from the centre to the tips, degrees");
    limit!(brake_short_mm, brake_short_limit_mm, "how many millimetres short the brake row may become (above 0)");
    limit!(offset_mm, offset_limit_mm, "the limit of the common offset, mm");

    /// Checks that every limit is a finite number above zero.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        positive("line_mm", self.line_mm)?;
        positive("row_difference_mm", self.row_difference_mm)?;
        positive("incidence_deg", self.incidence_deg)?;
        positive("left_right_deg", self.left_right_deg)?;
        positive("twist_deg", self.twist_deg)?;
        positive("brake_short_mm", self.brake_short_mm)?;
        positive("offset_mm", self.offset_mm)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_that_is_no_positive_number_is_refused_by_name() {
        assert_eq!(Limits::default().validate(), Ok(()));
        for wrong in [0.0, -1.0, f64::INFINITY] {
            let got = Limits::default().row_difference_mm(wrong).validate();
            assert_eq!(got, Err(ForecastError::NotPositive { what: "row_difference_mm", value: wrong }));
        }
        assert!(serde_json::from_str::<Limits>(r#"{"line":3}"#).is_err());
        let read: Limits = serde_json::from_str(r#"{"line_mm":8}"#).unwrap();
        assert_eq!(read, Limits::default().line_mm(8.0));
    }
}
