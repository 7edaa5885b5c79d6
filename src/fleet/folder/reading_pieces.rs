//! The readings of a fleet piece by piece: they are never all in memory as cells.

use std::collections::BTreeSet;

use crate::fleet::read::csv::{CsvText, too_long};
use crate::fleet::read::csv_pieces::{CsvPiece, CsvPieces, PieceError};
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::Grid;
use crate::fleet::read::parquet::ParquetTable;
use crate::fleet::read::source::Located;
use crate::fleet::schema::READINGS;

/// Where the readings are.
#[derive(Debug)]
pub(crate) enum ReadingPieces {
    /// In files: a piece is a row group, or some megabytes of text.
    Files(Located),
    /// In memory.
    Held(Grid),
}

impl ReadingPieces {
    /// Calls `visit` with every piece that can be read, in the order of the files; gives the columns that nobody asked for.
    pub(crate) fn for_each(
        &self,
        faults: &mut FaultList,
        mut visit: impl FnMut(&Grid, &mut FaultList),
    ) -> BTreeSet<String> {
        let mut left_out = BTreeSet::new();
        match self {
            Self::Held(grid) => {
                left_out.extend(grid.left_out.iter().cloned());
                visit(grid, faults);
            }
            Self::Files(Located::Parquet(files)) => {
                for file in files {
                    let table = ParquetTable::open(&file.path, &file.name, READINGS, &[], faults);
                    let Some(table) = table else { continue };
                    for group in 0..table.groups() {
                        let Some(grid) = table.group(group, faults) else { break };
                        visit(&grid, faults);
                    }
                    left_out.extend(table.left_out);
                }
            }
            Self::Files(Located::Csv(path)) => {
                let mut all = || -> Result<(), PieceError> {
                    let mut pieces = CsvPieces::open(path)?;
                    while let Some(CsvPiece { bytes, first_row }) = pieces.next()? {
                        let text = CsvText::read(&bytes, first_row, READINGS, &[], faults);
                        let grid = text.map(|text| text.grid(faults));
                        drop(bytes);
                        let Some(grid) = grid else { break };
                        visit(&grid, faults);
                        left_out.extend(grid.left_out);
                    }
                    Ok(())
                };
                match all() {
                    Ok(()) => {}
                    Err(PieceError::TooLong { row, begin }) => too_long(READINGS.name, row, &begin, faults),
                    Err(PieceError::Read(error)) => {
                        faults.add(READINGS.name, 0, "", error, format_args!("a file that can be read"));
                    }
                }
            }
            Self::Files(Located::Absent | Located::Broken) => {}
        }
        left_out
    }
}
