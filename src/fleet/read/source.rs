//! Where the tables of a folder stand, and reading them.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use super::csv::read_csv;
use super::fault::FaultList;
use super::grid::Loaded;
use super::parquet::read_parquet;
use crate::fleet::schema::{READINGS, TableSchema, WINGS};
use crate::fleet::write::atomic::StagedFile;
use crate::fleet::write::pending::Move;

/// Where a table stands.
#[derive(Debug)]
pub(crate) enum Located {
    /// There is no such file.
    Absent,
    /// It cannot be told; the fault is noted.
    Broken,
    /// One CSV file.
    Csv(PathBuf),
    /// One or more Parquet files.
    Parquet(Vec<ParquetFile>),
}

/// One Parquet file of a table.
#[derive(Debug, Clone)]
pub(crate) struct ParquetFile {
    pub(crate) path: PathBuf,
    /// Name for faults.
    pub(crate) name: String,
}

/// The files of a folder.
pub(crate) struct Source<'a> {
    pub(crate) folder: &'a Path,
    pub(crate) covariates: &'a [String],
    pub(crate) staged: &'a [StagedFile],
    /// Tables that were made ready and not yet put in place when a process stopped.
    pub(crate) moved: Vec<Move>,
    /// Tables that were about to be removed then.
    pub(crate) gone: Vec<PathBuf>,
    pub(crate) faults: &'a mut FaultList,
    pub(crate) notes: Vec<String>,
}

impl Source<'_> {
    /// Where the bytes of a file stand.
    fn at<'b>(&'b self, path: &'b Path) -> &'b Path {
        let staged = self.staged.iter().find(|staged| staged.path() == path).map(StagedFile::temporary);
        let moved = || self.moved.iter().find(|moved| moved.to == path).map(|moved| moved.from.as_path());
        staged.or_else(moved).unwrap_or(path)
    }

    /// A table that must be there.
    pub(crate) fn needed(&mut self, schema: TableSchema) -> Loaded {
        match self.locate_needed(schema) {
            Located::Broken | Located::Absent => Loaded::Broken,
            located => self.read(schema, located),
        }
    }

    /// A table that may be there.
    pub(crate) fn load(&mut self, schema: TableSchema) -> Loaded {
        let located = self.locate(schema);
        self.read(schema, located)
    }

    /// Where a table stands that must be there.
    pub(crate) fn locate_needed(&mut self, schema: TableSchema) -> Located {
        let located = self.locate(schema);
        if matches!(located, Located::Absent) {
            let name = schema.name;
            self.faults.add(name, 0, "", "", format_args!("a file `{name}.csv` or `{name}.parquet`"));
            return Located::Broken;
        }
        located
    }

    fn locate(&mut self, schema: TableSchema) -> Located {
        let name = schema.name;
        let csv = self.folder.join(format!("{name}.csv"));
        let parquet = self.folder.join(format!("{name}.parquet"));
        let parts = self.folder.join(name);
        let in_parts = schema.name == READINGS.name && parts.is_dir();
        // a link that leads nowhere is there, and is no table
        let is_there = |path: &Path| {
            (path.exists() || path.is_symlink() || self.moved.iter().any(|moved| moved.to == path))
                && !self.gone.iter().any(|gone| gone == path)
        };
        let (csv_is_there, parquet_is_there) = (is_there(&csv), is_there(&parquet));
        let there: Vec<String> = [(csv_is_there, ".csv"), (parquet_is_there, ".parquet"), (in_parts, "/")]
            .iter()
            .filter(|(is_there, _)| *is_there)
            .map(|(_, ending)| format!("{name}{ending}"))
            .collect();
        if there.len() > 1 {
            self.faults.add(name, 0, "", there.join(", "), format_args!("one of these, not several"));
            return Located::Broken;
        }
        if csv_is_there {
            Located::Csv(self.at(&csv).to_owned())
        } else if parquet_is_there {
            Located::Parquet(vec![ParquetFile { path: self.at(&parquet).to_owned(), name: name.to_owned() }])
        } else if in_parts {
            let files = self.parts(&parts).into_iter().map(|path| {
                let file = path.file_name().unwrap_or_default().to_string_lossy();
                ParquetFile { name: format!("{name}/{file}"), path: self.at(&path).to_owned() }
            });
            let files: Vec<ParquetFile> = files.collect();
            if files.is_empty() { Located::Broken } else { Located::Parquet(files) }
        } else {
            Located::Absent
        }
    }

    fn read(&mut self, schema: TableSchema, located: Located) -> Loaded {
        let extra = if schema.name == WINGS.name { self.covariates } else { &[] };
        let grids = match located {
            Located::Absent => return Loaded::Absent,
            Located::Broken => return Loaded::Broken,
            Located::Csv(path) => match read_file(&path) {
                Ok(bytes) => vec![read_csv(&bytes, schema, extra, self.faults)],
                Err(error) => {
                    self.faults.add(schema.name, 0, "", error, format_args!("a file that can be read"));
                    vec![None]
                }
            },
            Located::Parquet(files) => {
                files.iter().map(|file| read_parquet(&file.path, &file.name, schema, extra, self.faults)).collect()
            }
        };
        let Some(grids) = grids.into_iter().collect::<Option<Vec<_>>>().filter(|grids| !grids.is_empty()) else {
            return Loaded::Broken;
        };
        self.notes.extend(left_out_note(schema.name, grids.iter().flat_map(|grid| &grid.left_out).collect()));
        Loaded::Read(grids)
    }

    /// The Parquet files of `readings/`, by name.
    fn parts(&mut self, folder: &Path) -> Vec<PathBuf> {
        let name = READINGS.name;
        let mut files = Vec::new();
        match fs::read_dir(folder) {
            Ok(entries) => {
                let paths = entries.filter_map(Result::ok).map(|entry| entry.path());
                files.extend(paths.filter(|path| path.extension().is_some_and(|ending| ending == "parquet")));
            }
            Err(error) => self.faults.add(name, 0, "", error, format_args!("a folder that can be read")),
        }
        files.extend(
            self.staged
                .iter()
                .map(|staged| staged.path().to_owned())
                .chain(self.moved.iter().map(|moved| moved.to.clone()))
                .filter(|path| path.parent() == Some(folder) && !files.contains(path))
                .collect::<Vec<_>>(),
        );
        files.sort();
        if files.is_empty() {
            self.faults.add(name, 0, "", "", format_args!("at least one Parquet file in `{name}/`"));
        }
        files
    }
}

/// The bytes of a file. What is no file (a folder, a pipe, a device) is refused: reading it may never end.
fn read_file(path: &Path) -> std::io::Result<Vec<u8>> {
    if fs::metadata(path)?.is_file() {
        fs::read(path)
    } else {
        Err(std::io::Error::new(std::io::ErrorKind::InvalidInput, "not a file"))
    }
}

/// What to say of columns that nobody asked for.
pub(crate) fn left_out_note(table: &str, columns: BTreeSet<&String>) -> Option<String> {
    let quote = |column: &String| if column.is_empty() { "(no name)".to_owned() } else { format!("`{column}`") };
    let columns: Vec<String> = columns.into_iter().map(quote).collect();
    let word = if columns.len() == 1 { "column" } else { "columns" };
    (!columns.is_empty()).then(|| format!("Table `{table}`: left out the {word} {}.", columns.join(", ")))
}
