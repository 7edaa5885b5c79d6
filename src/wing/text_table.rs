//! Tables in plain text.

use std::fmt;

use crate::wing::shown;

/// Space between columns.
const GAP: &str = "  ";

/// A table for the terminal: each column as wide as its widest cell, words flush left, figures flush right. A cell of words is cut to
/// the column's width, and what is not seen in it, or could move the cursor, is shown as `?`.
#[derive(Debug, Clone, Default)]
pub(crate) struct TextTable {
    indent: usize,
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
}

#[derive(Debug, Clone)]
struct Column {
    head: &'static str,
    figures: bool,
    most: usize,
}

impl TextTable {
    /// Every line begins so many columns to the right.
    pub(crate) fn indent(mut self, indent: usize) -> Self {
        self.indent = indent;
        self
    }

    /// Adds a column of words of at most that width.
    pub(crate) fn words(mut self, head: &'static str, most: usize) -> Self {
        self.columns.push(Column { head, figures: false, most });
        self
    }

    /// Adds a column of figures.
    pub(crate) fn figures(mut self, head: &'static str) -> Self {
        self.columns.push(Column { head, figures: true, most: usize::MAX });
        self
    }

    /// Adds a row with a cell for each column.
    pub(crate) fn row<const N: usize>(&mut self, cells: [String; N]) {
        let cells = cells.into_iter().zip(&self.columns).map(|(cell, column)| cut(&cell, column.most)).collect();
        self.rows.push(cells);
    }

    fn line<'a>(&self, widths: &[usize], cells: impl Iterator<Item = &'a str>) -> String {
        let mut line = " ".repeat(self.indent);
        for ((cell, column), width) in cells.zip(&self.columns).zip(widths) {
            let room = " ".repeat(width.saturating_sub(cell.chars().count()));
            let [before, after] = if column.figures { [room.as_str(), ""] } else { ["", room.as_str()] };
            line.extend([before, cell, after, GAP]);
        }
        line.truncate(line.trim_end().len());
        line
    }
}

impl fmt::Display for TextTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = |(at, column): (usize, &Column)| {
            let cells = self.rows.iter().filter_map(|row| row.get(at)).map(|cell| cell.chars().count());
            cells.max().unwrap_or(0).max(column.head.chars().count())
        };
        let widths: Vec<usize> = self.columns.iter().enumerate().map(width).collect();
        writeln!(f, "{}", self.line(&widths, self.columns.iter().map(|column| column.head)))?;
        self.rows.iter().try_for_each(|row| writeln!(f, "{}", self.line(&widths, row.iter().map(String::as_str))))
    }
}

/// The text cut to a width in characters, its end marked by `…` where something is left out. Characters that are not seen, or
/// could move the cursor, are shown as `?`.
pub(crate) fn cut(text: &str, width: usize) -> String {
    let clean = shown(text);
    if clean.chars().count() <= width {
        return clean;
    }
    clean.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_as_wide_as_their_cells() {
        let mut table = TextTable::default().words("wing", 6).figures("mm").words("", 9);
        table.row(["a".to_owned(), "-12.5".to_owned(), "b".to_owned()]);
        table.row(["longer than six".to_owned(), "3".to_owned(), String::new()]);
        assert_eq!(table.to_string(), "wing       mm\na       -12.5  b\nlonge…      3\n");
    }
}
