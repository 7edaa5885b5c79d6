//! What a wing is held to, now and in every forecast.

use serde::{Deserialize, Serialize};

macro_rules! limits {
    ($($name:ident, $read:ident, $default:literal, $what:literal;)*) => {
        /// Limits of the true line lengths, each a setter of the same name: the one list that a check, a plan and a forecast are
        /// held to.
        ///
        /// | limit | default | why |
        /// |---|---|---|
        /// | `line_mm` | 10 mm either way, unless the line has its own tolerance | practice: tolerance of a single line |
        /// | `row_difference_mm` | 10 mm either way | practice: below it a wing needs no adjustment |
        /// | `incidence_deg` | 0.5° either way | our choice |
        /// | `left_right_mm` | 10 mm either way | our choice |
        /// | `left_right_deg` | 0.3° either way | our choice |
        /// | `twist_deg` | 1.0° either way | our choice |
        /// | `brake_short_mm` | 20 mm short | our choice: the trailing edge may be held down |
        /// | `brake_long_mm` | 20 mm long | our choice: the free travel is no longer the maker's |
        /// | `offset_mm` | 50 mm either way | practice: limits of this order are seen on uniformly long or short sets |
        ///
        /// `line_mm` is on the relative deviation of each line of A–D and stabilo (deviation less the common offset),
        /// `row_difference_mm` on the difference of the means of any two rows among A–D, `left_right_mm` on the mean of a row of
        /// A–D on the left less that on the right, `brake_short_mm` and `brake_long_mm` on the brake row's mean relative
        /// deviation, `offset_mm` on the common offset itself. `left_right_deg` is on the incidence of the left side less
        /// that of the right, `twist_deg` on its change from the centre to the tips, both where the incidence is known.
        #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct Limits { $($name: f64,)* }

        impl Default for Limits {
            fn default() -> Self {
                Self { $($name: $default,)* }
            }
        }

        impl Limits {
            /// The names of all limits.
            pub const NAMES: &'static [&'static str] = &[$(stringify!($name)),*];

            $(
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
            )*

            /// The limits with one of them set by its name; `None` for a name that is not among [`Limits::NAMES`].
            #[must_use]
            pub fn with(mut self, name: &str, value: f64) -> Option<Self> {
                match name {
                    $(stringify!($name) => self.$name = value,)*
                    _ => return None,
                }
                Some(self)
            }

            /// A limit by its name.
            #[must_use]
            pub fn of(&self, name: &str) -> Option<f64> {
                match name {
                    $(stringify!($name) => Some(self.$name),)*
                    _ => None,
                }
            }
        }
    };
}

limits! {
    line_mm, line_limit_mm, 10.0, "the limit of a single line without a tolerance of its own, mm";
    row_difference_mm, row_difference_limit_mm, 10.0, "the limit of a difference of two row means, mm";
    incidence_deg, incidence_limit_deg, 0.5, "the limit of the incidence change, degrees";
    left_right_mm, left_right_limit_mm, 10.0, "the limit of a row's mean left less right, mm";
    left_right_deg, left_right_limit_deg, 0.3, "the limit of the incidence left less right, degrees";
    twist_deg, twist_limit_deg, 1.0, "the limit of the incidence change from the centre to the tips, degrees";
    brake_short_mm, brake_short_limit_mm, 20.0, "how many millimetres short the brake row may be (above 0)";
    brake_long_mm, brake_long_limit_mm, 20.0, "how many millimetres long the brake row may be (above 0)";
    offset_mm, offset_limit_mm, 50.0, "the limit of the common offset, mm";
}

impl Limits {
    /// The first limit that is not a finite number above zero.
    pub(crate) fn refused(&self) -> Option<&'static str> {
        let is_limit = |value: f64| value.is_finite() && value > 0.0;
        Self::NAMES.iter().copied().find(|name| !self.of(name).is_some_and(is_limit))
    }
}
