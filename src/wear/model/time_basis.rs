//! How wear goes on with hours: one time shape for all, or another one for one material.

use serde::{Deserialize, Serialize};

use super::shape::Shape;

/// The time shape of a model, and that of the one material that has its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct TimeBasis {
    pub(crate) shape: Shape,
    #[serde(default)]
    pub(crate) own: Option<MaterialShape>,
}

/// A material with a time shape of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct MaterialShape {
    pub(crate) material: String,
    pub(crate) shape: Shape,
}

impl From<Shape> for TimeBasis {
    fn from(shape: Shape) -> Self {
        Self { shape, own: None }
    }
}

impl TimeBasis {
    /// The shape of a material.
    pub(crate) fn of(&self, material: &str) -> Shape {
        self.own.as_ref().filter(|own| own.material == material).map_or(self.shape, |own| own.shape)
    }

    /// Its value for a material, 1 at 100 h.
    pub(crate) fn at(&self, material: &str, hours_h: f64) -> f64 {
        self.of(material).at(hours_h)
    }

    /// Every shape in it.
    pub(crate) fn shapes(&self) -> impl Iterator<Item = Shape> {
        [self.shape].into_iter().chain(self.own.as_ref().map(|own| own.shape))
    }
}
