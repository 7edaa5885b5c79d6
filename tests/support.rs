//! Reading test data.

use std::path::PathBuf;

/// A small CSV file without quotes.
pub struct Table {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

pub fn data(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(path)
}

pub fn json(path: &str) -> serde_json::Value {
    serde_json::from_str(&std::fs::read_to_string(data(path)).unwrap()).unwrap()
}

impl Table {
    pub fn read(path: &str) -> Self {
        let text = std::fs::read_to_string(data(path)).unwrap();
        let mut lines = text
            .trim_start_matches('\u{feff}')
            .lines()
            .map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
        Self { header: lines.next().unwrap(), rows: lines.collect() }
    }

    pub fn has(&self, column: &str) -> bool {
        self.header.iter().any(|name| name == column)
    }

    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    pub fn text(&self, row: usize, column: &str) -> &str {
        let at = self.header.iter().position(|name| name == column).unwrap_or_else(|| panic!("no column {column}"));
        &self.rows[row][at]
    }

    pub fn number(&self, row: usize, column: &str) -> f64 {
        self.text(row, column).parse().unwrap()
    }
}
