//! Settings of the library's specs, by name.

use std::path::Path;

use linedrift::Date;
use linedrift::fleet::batch::CheckChoice;
use linedrift::forecast::LimitsTable;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use crate::failure::Failure;

/// A spec with the settings of a JSON object laid over its defaults.
pub(crate) fn over<T: Default + Serialize + DeserializeOwned>(settings: &str) -> Result<T, Failure> {
    let Value::Object(mut all) = serde_json::to_value(T::default()).map_err(Failure::result)? else {
        return Err(Failure::Result("these settings have no names".to_owned()));
    };
    let own: Map<String, Value> = serde_json::from_str(settings).map_err(Failure::call)?;
    for (name, value) in own {
        if !all.contains_key(&name) {
            let known: Vec<&str> = all.keys().map(String::as_str).collect();
            return Err(Failure::Call(format!(
                "there is no setting `{name}`; the settings are {}",
                known.join(", ")
            )));
        }
        all.insert(name, value);
    }
    serde_json::from_value(Value::Object(all)).map_err(Failure::call)
}

/// A choice of the library by its name.
pub(crate) fn named<T: DeserializeOwned>(setting: &str, name: &str) -> Result<T, Failure> {
    serde_json::from_value(Value::from(name)).map_err(|error| Failure::Call(format!("{setting}: {error}")))
}

/// A day.
pub(crate) fn day(text: Option<&str>) -> Result<Option<Date>, Failure> {
    text.map(|text| text.parse().map_err(|_| Failure::Call(format!("`{text}` is not a day such as 2026-03-01"))))
        .transpose()
}

/// Which checks are meant.
pub(crate) fn choice(wing: Option<String>, check: Option<String>) -> Result<CheckChoice, Failure> {
    match (wing, check) {
        (Some(_), Some(_)) => Err(Failure::Call("name a wing or a check, not both".to_owned())),
        (Some(wing), None) => Ok(CheckChoice::OfWing(wing)),
        (None, Some(check)) => Ok(CheckChoice::Check(check)),
        (None, None) => Ok(CheckChoice::Latest),
    }
}

/// Limits from the text of a limits file.
pub(crate) fn limits(text: Option<&str>) -> Result<LimitsTable, Failure> {
    text.map_or_else(|| Ok(LimitsTable::default()), |text| LimitsTable::from_toml(text).map_err(Failure::call))
}

/// The text of a file.
pub(crate) fn text(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| Failure::file(path, &error))
}
