//! linedrift for Python: a thin layer over the library, without any computation of its own.
//!
//! Frames come and go by the Arrow C stream interface ([`arrow`]); long work runs beside the interpreter, shows how far it is
//! and stops on Ctrl-C ([`work`]); settings are those of the library's specs, by name ([`settings`]).

mod answer;
mod arrow;
mod failure;
mod fleet;
mod settings;
mod wear;
mod work;

use pyo3::prelude::*;

/// The compiled half of the package `linedrift`.
#[pymodule]
mod _linedrift {
    #[pymodule_export]
    use crate::answer::Answer;
    #[pymodule_export]
    use crate::arrow::Frame;
    #[pymodule_export]
    use crate::fleet::{Fleet, simulate};
    #[pymodule_export]
    use crate::wear::WearFit;

    use pyo3::prelude::*;

    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("__version__", env!("CARGO_PKG_VERSION"))?;
        module.add("CAUTIONS", linedrift::report::CAUTIONS)
    }
}
