//! `linedrift model`: a model's lines from a spreadsheet, for all later checks.

use std::fmt::Write as _;
use std::path::PathBuf;

use linedrift::check::Fleet;
use linedrift::fleet::spreadsheet::Understood;
use linedrift::fleet::{Addition, FolderLock, TableFormat, write_new_folder};
use linedrift::wing::{LineSet, Row, RowData};
use serde::Serialize;

use super::Failure;
use super::args::{Common, above_zero};
use super::input::Input;
use super::output::Output;
use super::sheet_file::SheetFile;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The spreadsheet with the maker's lengths: .xlsx, .xls, .ods or text
    file: PathBuf,
    /// The model's name
    #[arg(long, value_name = "NAME")]
    name: String,
    /// Keep it in this fleet folder, made if there is none [default: only say what was understood]
    #[arg(long, value_name = "FLEET")]
    keep: Option<PathBuf>,
    #[command(flatten)]
    data: ModelData,
    #[command(flatten)]
    sheet: SheetFile,
    #[command(flatten, next_help_heading = "How to run")]
    pub(super) common: Common,
}

/// What is known of a model besides its lines.
#[derive(Debug, Clone, Default, clap::Args)]
#[command(next_help_heading = "The model")]
pub(super) struct ModelData {
    /// Where a row is attached, as a share of the chord from the leading edge, such as A=0.11,B=0.36,C=0.64
    #[arg(long, value_name = "ROW=SHARE", value_delimiter = ',', value_parser = chord)]
    chord: Vec<RowData>,
    /// Chord at the centre, m
    #[arg(long, value_name = "M", value_parser = above_zero)]
    root_chord_m: Option<f64>,
    /// Flat span, m
    #[arg(long, value_name = "M", value_parser = above_zero)]
    span_m: Option<f64>,
    /// Flat area, m²
    #[arg(long, value_name = "M2", value_parser = above_zero)]
    area_m2: Option<f64>,
    /// Trim speed, km/h
    #[arg(long, value_name = "KMH", value_parser = above_zero)]
    trim_speed_kmh: Option<f64>,
    /// Glide ratio at trim
    #[arg(long, value_name = "RATIO", value_parser = above_zero)]
    glide: Option<f64>,
    /// The maker's interval between checks, hours flown
    #[arg(long, value_name = "H", value_parser = above_zero)]
    interval_h: Option<f64>,
    /// The maker's interval between checks, months
    #[arg(long, value_name = "MONTHS", value_parser = above_zero)]
    interval_months: Option<f64>,
}

fn chord(text: &str) -> Result<RowData, String> {
    let wrong = || format!("`{text}` is not a row with its share of the chord, such as A=0.11");
    let (row, share) = text.split_once('=').ok_or_else(wrong)?;
    let row: Row = row.trim().parse().map_err(|_| wrong())?;
    let share: f64 = share.trim().parse().map_err(|_| wrong())?;
    if !(0.0..=1.0).contains(&share) {
        return Err(wrong());
    }
    Ok(RowData { row, chord: Some(share), riser_mm: None })
}

impl ModelData {
    /// A line set with what the call says of its model; the call's own words go before the file's.
    pub(super) fn over(&self, set: LineSet) -> LineSet {
        let mut rows = set.rows().to_vec();
        for own in &self.chord {
            match rows.iter_mut().find(|row| row.row == own.row) {
                Some(row) => row.chord = own.chord,
                None => rows.push(*own),
            }
        }
        let there = *set.data();
        let data = linedrift::wing::ModelData {
            span_m: self.span_m.or(there.span_m),
            area_m2: self.area_m2.or(there.area_m2),
            root_chord_m: self.root_chord_m.or(there.root_chord_m),
            trim_speed_kmh: self.trim_speed_kmh.or(there.trim_speed_kmh),
            glide: self.glide.or(there.glide),
            interval_h: self.interval_h.or(there.interval_h),
            interval_months: self.interval_months.or(there.interval_months),
            ..there
        };
        set.with_rows(rows).with_data(data)
    }
}

#[derive(Serialize)]
struct ModelDocument<'a> {
    schema: &'static str,
    model: &'a str,
    understood: &'a Understood,
    segments: usize,
    kept: bool,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let is_there = |folder: &PathBuf| std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some());
        let folder = self.keep.as_ref().filter(|folder| is_there(folder));
        let spec = self.sheet.spec(None, folder.map(PathBuf::as_path))?;
        let sheet = spec.read(&self.file)?;
        let set = self.data.over(sheet.line_set(&self.name)?);
        let understood = sheet.understood(&set, &[], 0.0);
        match (folder, &self.keep) {
            (Some(folder), _) => {
                let lock = FolderLock::take(folder)?;
                let known = Input::read(folder, &[], &self.common)?;
                Addition::model(folder, &known.fleet, &set, &lock)?;
                spec.keep_columns(folder)?;
            }
            (None, Some(folder)) => {
                let fleet = Fleet::new(vec![set.clone()], Vec::new()).map_err(|error| Failure::result(&error))?;
                write_new_folder(&fleet, folder, TableFormat::Csv)?;
                spec.keep_columns(folder)?;
            }
            (None, None) => {}
        }
        let segments = if set.has_cascade() { set.segments().len() } else { 0 };
        if self.common.json {
            return Output::json(&ModelDocument {
                schema: "linedrift.model/1",
                model: set.model(),
                understood: &understood,
                segments,
                kept: self.keep.is_some(),
            });
        }
        let mut out = format!("Model {}\n{understood}", set.model());
        if segments > 0 {
            let _ = writeln!(out, "cascade of {segments} pieces");
        }
        match &self.keep {
            Some(folder) => {
                let _ = writeln!(out, "Kept in {}", folder.display());
            }
            None => out.push_str("Nothing was kept: --keep FLEET keeps it in a fleet folder\n"),
        }
        Ok(Output::text(out))
    }
}
