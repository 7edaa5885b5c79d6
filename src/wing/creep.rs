//! Creep of a fibre under a load that stays.

/// Creep under a steady load, as a share of the elastic strain: `share(t) = share_1000_d · (t / 1000 d)^power`.
///
/// A line of this fibre that is left hanging under its load is longer by this share of its elastic stretch than when it was
/// hung up. The corrections do not use it: a reading takes seconds, and what a line creeps in flight is in the rates of wear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Creep {
    /// Creep over elastic strain after 1,000 days, 0 … 1.
    pub share_1000_d: f64,
    /// Power of time.
    pub power: f64,
}

impl Creep {
    /// Para-aramid of high modulus (`aramid-stiff`): 13 % after 1,000 days and 14.6 % after 4,000 (Walton, Majumdar 1983;
    /// read), so a power of `ln(14.6/13)/ln 4 = 0.0837` (derived).
    pub const ARAMID_STIFF: Creep = Creep { share_1000_d: 0.13, power: 0.0837 };

    /// The share after some days, 0 where the days are no positive number.
    #[must_use]
    pub fn share_after(self, days_d: f64) -> f64 {
        if days_d > 0.0 && days_d.is_finite() { self.share_1000_d * (days_d / 1000.0).powf(self.power) } else { 0.0 }
    }
}
