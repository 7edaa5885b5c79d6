//! The streaming pass: a fleet's readings reduced as they are read.

mod check_sums;
mod reading_sums;

use std::collections::{BTreeSet, HashSet};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use crate::fleet::folder::reading_pieces::ReadingPieces;
use crate::fleet::folder::readings::{judge_readings, report_duplicates};
use crate::fleet::folder::{FolderSpec, FolderTables, Unfit, finish_sets};
use crate::fleet::read::csv::CsvText;
use crate::fleet::read::csv_pieces::{CsvPiece, CsvPieces, PieceError};
use crate::fleet::read::fault::{FaultList, FleetReadError};
use crate::fleet::read::parquet::ParquetTable;
use crate::fleet::read::source::{Located, ParquetFile, left_out_note};
use crate::fleet::read::stillness::read_still;
use crate::fleet::schema::{ORDER, READINGS};
use crate::wear::Reduction;
use check_sums::{Added, CheckSums};
use reading_sums::{Doubtful, ReadingSums, SumMemory};

/// How to reduce a fleet folder without holding its readings.
///
/// The small tables are read as [`FolderSpec`] reads them. Readings go by in pieces (a row group of a Parquet file, 4 MB of a
/// CSV file), several at a time, and only exact sums per check, side and line stay. The result is the same to the bit as that of
/// [`Reduction::new`] on the folder read whole, for any number of threads and whatever way the readings are cut into files.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `folder` | [`FolderSpec::default`] | its covariates are those of the reduction, unless `covariates` says otherwise |
/// | `covariates` | those of `folder` | in the order given |
/// | `parts` | all | reduce only some files of `readings/`, the others elsewhere |
///
/// # Examples
/// ```no_run
/// use linedrift::WearSpec;
/// use linedrift::fleet::ScanSpec;
/// let scan = ScanSpec::default().run("archive".as_ref())?;
/// println!("{}", WearSpec::default().fit_reduced(&scan.reduction)?);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ScanSpec {
    folder: FolderSpec,
    covariates: Vec<String>,
    parts: Vec<String>,
}

/// A fleet folder, reduced.
#[derive(Debug, Clone, PartialEq)]
pub struct Scan {
    /// The reduced readings, with what is recorded of the wings.
    pub reduction: Reduction,
    /// What was left out or assumed, as sentences.
    pub notes: Vec<String>,
}

impl ScanSpec {
    /// Materials of the user's own, which go before the documented ones of the same name.
    #[must_use]
    pub fn fibres(mut self, fibres: Vec<crate::wing::Fibre>) -> Self {
        self.folder = self.folder.fibres(fibres);
        self
    }

    /// Numeric columns of `wings` to keep as covariates.
    #[must_use]
    pub fn covariates(mut self, names: &[String]) -> Self {
        self.covariates = names.to_vec();
        self.folder = self.folder.covariates(names);
        self
    }

    /// Only these files of `readings/`, by file name (`part-00003.parquet`).
    #[must_use]
    pub fn parts(mut self, names: impl IntoIterator<Item = impl Into<String>>) -> Self {
        self.parts = names.into_iter().map(Into::into).collect();
        self
    }

    /// Reduces a folder.
    ///
    /// # Errors
    /// [`FleetReadError::Faulty`] with every fault of every table, as [`FolderSpec::read`] gives them, and
    /// [`FleetReadError::Wear`] when a wing lacks a covariate.
    pub fn run(&self, folder: &Path) -> Result<Scan, FleetReadError> {
        read_still(folder, || self.once(folder))
    }

    fn once(&self, folder: &Path) -> Result<Scan, FleetReadError> {
        let mut faults = FaultList::default();
        let locate = |source: &mut crate::fleet::read::source::Source<'_>, schema| source.locate_needed(schema);
        let Some(mut tables) = self.folder.tables(folder, &[], &mut faults, locate) else {
            return Err(FleetReadError::Faulty(faults));
        };
        let located = std::mem::replace(&mut tables.readings, Located::Broken);
        let files = self.chosen(located, &mut faults);
        let mut memory = SumMemory::new(&tables.wings, &tables.checks);
        let done = if faults.is_empty() { self.sums(&tables, &files, &mut memory) } else { Ok(Err(Doubtful)) };
        let unfit = match done {
            Ok(Ok(sums)) => match self.reduced(tables, sums) {
                Ok(scan) => return scan,
                Err(unfit) => unfit,
            },
            Ok(Err(Doubtful)) => {
                find_faults(&ReadingPieces::Files(files), &tables, &mut faults);
                if !faults.is_empty() {
                    return Err(FleetReadError::Faulty(faults.sorted(&ORDER)));
                }
                // a file that could not be read at first and then could
                Unfit { table: READINGS.name, why: "the files changed while they were read".to_owned() }
            }
            Err(unfit) => unfit,
        };
        faults.add(unfit.table, 0, "", unfit.why, format_args!("tables that fit together"));
        Err(FleetReadError::Faulty(faults.sorted(&ORDER)))
    }

    /// The files to read, of those that are there.
    fn chosen(&self, located: Located, faults: &mut FaultList) -> Located {
        let Located::Parquet(files) = &located else {
            if let (Some(part), Located::Csv(_)) = (self.parts.first(), &located) {
                faults.add(READINGS.name, 0, "", part, format_args!("a file of the folder `readings/`"));
            }
            return located;
        };
        if self.parts.is_empty() {
            return located;
        }
        let name = |part: &String| format!("{}/{part}", READINGS.name);
        for part in self.parts.iter().filter(|part| files.iter().all(|file| file.name != name(part))) {
            faults.add(READINGS.name, 0, "", part, format_args!("a file of the folder `readings/`"));
        }
        let wanted: HashSet<String> = self.parts.iter().map(name).collect();
        Located::Parquet(files.iter().filter(|file| wanted.contains(&file.name)).cloned().collect())
    }

    /// The sums of every check, and the columns left out.
    fn sums<'a>(
        &self,
        tables: &FolderTables<Located>,
        files: &Located,
        memory: &'a mut SumMemory,
    ) -> Result<Result<Summed<'a>, Doubtful>, Unfit> {
        let sets = finish_sets(tables.wings.drafts.clone(), self.folder.own_fibres())?;
        let sums = ReadingSums::new(&tables.wings, &tables.checks, &sets, memory);
        let left_out = match files {
            Located::Parquet(files) => add_parquet(files, &sums),
            Located::Csv(path) => add_csv(path, &sums),
            Located::Absent | Located::Broken => Err(Doubtful),
        };
        Ok(left_out.map(|left_out| Summed { left_out, sums: sums.finish() }))
    }

    fn reduced(
        &self,
        mut tables: FolderTables<Located>,
        summed: Summed<'_>,
    ) -> Result<Result<Scan, FleetReadError>, Unfit> {
        let mut notes = Vec::new();
        notes.extend(left_out_note(READINGS.name, summed.left_out.iter().collect()));
        notes.append(&mut tables.notes);
        let index = std::mem::take(&mut tables.checks.index);
        let fleet = tables.assemble(self.folder.own_fibres())?;
        let sums: Vec<Mutex<CheckSums<'_>>> = summed.sums.into_iter().map(Mutex::new).collect();
        let reduction = Reduction::of_sums(fleet, &self.covariates, |check, number| {
            let place = index.get(&check.id).and_then(|at| sums.get(*at));
            let taken = place.and_then(|sums| sums.lock().ok()).map(|mut sums| std::mem::take(&mut *sums));
            taken.unwrap_or_default().cells(number)
        });
        Ok(reduction.map(|reduction| Scan { reduction, notes }).map_err(FleetReadError::from))
    }
}

/// What one pass over the readings leaves.
struct Summed<'a> {
    left_out: BTreeSet<String>,
    /// By check, in the order of the table.
    sums: Vec<CheckSums<'a>>,
}

/// Adds every row group of every file, on all threads.
fn add_parquet(files: &[ParquetFile], sums: &ReadingSums<'_, '_>) -> Result<BTreeSet<String>, Doubtful> {
    let stopped = AtomicBool::new(false);
    let add = |file: &ParquetFile| -> Result<Vec<String>, Doubtful> {
        let mut faults = FaultList::default();
        let table = ParquetTable::open(&file.path, &file.name, READINGS, &[], &mut faults);
        let table = table.filter(|_| faults.is_empty()).ok_or(Doubtful)?;
        (0..table.groups()).into_par_iter().try_for_each(|group| {
            if stopped.load(Ordering::Relaxed) {
                return Err(Doubtful);
            }
            let grid = table.group(group, &mut FaultList::default()).ok_or(Doubtful)?;
            sums.add(&grid)
        })?;
        Ok(table.left_out)
    };
    let each: Vec<Result<Vec<String>, Doubtful>> = files
        .par_iter()
        .map(|file| add(file).inspect_err(|Doubtful| stopped.store(true, Ordering::Relaxed)))
        .collect();
    let mut left_out = BTreeSet::new();
    for file in each {
        left_out.extend(file?);
    }
    Ok(left_out)
}

/// Adds every record of a CSV file: while some threads add a piece, another cuts the next one off.
fn add_csv(path: &Path, sums: &ReadingSums<'_, '_>) -> Result<BTreeSet<String>, Doubtful> {
    let mut pieces = CsvPieces::open(path).map_err(|_| Doubtful)?;
    let add = |mut left_out: BTreeSet<String>, piece: Result<CsvPiece, PieceError>| {
        let CsvPiece { bytes, first_row } = piece.map_err(|_| Doubtful)?;
        let mut faults = FaultList::default();
        let text = CsvText::read(&bytes, first_row, READINGS, &[], &mut faults);
        let text = text.filter(|_| faults.is_empty()).ok_or(Doubtful)?;
        sums.add_text(&text)?;
        left_out.extend(text.left_out());
        Ok(left_out)
    };
    std::iter::from_fn(|| pieces.next().transpose()).par_bridge().try_fold(BTreeSet::new, add).try_reduce(
        BTreeSet::new,
        |mut all, some| {
            all.extend(some);
            Ok(all)
        },
    )
}

/// Goes through the readings again, row by row in the order of the files, and notes what is wrong where.
fn find_faults(pieces: &ReadingPieces, tables: &FolderTables<Located>, faults: &mut FaultList) {
    let (wings, checks) = (&tables.wings, &tables.checks);
    let mut memory = SumMemory::new(wings, checks);
    let mut sums = memory.sums();
    let mut twice: HashSet<usize> = HashSet::new();
    judge_readings(pieces, wings, checks, faults, |check, row| {
        let place = row.side.index() * (row.places / 2) + row.line;
        if sums.get_mut(check).is_some_and(|sums| sums.add(place, 0, row.repeat) == Added::Twice) {
            twice.insert(check);
        }
    });
    report_duplicates(pieces, wings, checks, &twice, faults);
}
