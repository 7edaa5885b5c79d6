//! The names of covariates.

/// A covariate by its name, `COLUMN`, `COLUMN=LEVEL` or either with `:MATERIAL`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CovariateName<'a> {
    /// What a wing has: `COLUMN` (a number) or `COLUMN=LEVEL` (1 where the text in the column is that level, else 0).
    pub(crate) of_wing: &'a str,
    /// The column of `wings`.
    pub(crate) column: &'a str,
    /// The level of a column of text.
    pub(crate) level: Option<&'a str>,
    /// The material whose lines alone it bears on.
    pub(crate) material: Option<&'a str>,
}

impl<'a> CovariateName<'a> {
    /// Takes a name apart.
    pub(crate) fn parse(name: &'a str) -> Self {
        let (of_wing, material) =
            name.rsplit_once(':').map_or((name, None), |(of_wing, material)| (of_wing, Some(material)));
        let (column, level) =
            of_wing.split_once('=').map_or((of_wing, None), |(column, level)| (column, Some(level)));
        Self { of_wing, column, level, material }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_has_a_column_and_may_have_a_level_and_a_material() {
        let name = CovariateName::parse("mass_kg");
        assert_eq!((name.of_wing, name.column, name.level, name.material), ("mass_kg", "mass_kg", None, None));
        let name = CovariateName::parse("storage=dry barn:uhmwpe");
        assert_eq!((name.of_wing, name.column), ("storage=dry barn", "storage"));
        assert_eq!((name.level, name.material), (Some("dry barn"), Some("uhmwpe")));
    }
}
