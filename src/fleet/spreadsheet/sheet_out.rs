//! A measuring sheet as .xlsx, to be filled in where spreadsheets are at home.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Formula, Workbook, XlsxError};

use crate::check::sheet::{Sheet, SheetRow};
use crate::fleet::FleetWriteError;

/// The columns, as in the CSV sheet, and the deviation that the spreadsheet works out.
const COLUMNS: [&str; 9] =
    ["order", "side", "row", "main", "line", "expected_mm", "last_mm", "reading_mm", "deviation_mm"];

/// A measuring sheet as the bytes of an .xlsx file: the columns of the CSV sheet, and behind the empty `reading_mm` a formula
/// for what the reading is beyond the expected value. The same sheet gives the same bytes.
///
/// # Errors
/// [`FleetWriteError`] when the sheet has more rows than the format holds.
pub fn sheet_xlsx(sheet: &Sheet) -> Result<Vec<u8>, FleetWriteError> {
    written(sheet).map_err(|error| FleetWriteError::Table { table: "sheet".to_owned(), why: error.to_string() })
}

fn written(sheet: &Sheet) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // a day of its own would make every file another
    let day = ExcelDateTime::from_ymd(2026, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&day));
    let page = book.add_worksheet();
    page.set_name("Sheet")?;
    let head = Format::new().set_bold();
    let fill = Format::new().set_background_color("#FFF6D5").set_num_format("0.0");
    let tenth = Format::new().set_num_format("0.0");
    let signed = Format::new().set_num_format("+0.0;-0.0;0.0");
    for (column, name) in (0..).zip(COLUMNS) {
        page.write_string_with_format(0, column, name, &head)?;
        page.set_column_width(column, 13)?;
    }
    page.set_freeze_panes(1, 0)?;
    for (at, row) in (1_u32..).zip(sheet.rows()) {
        line(page, at, row, &fill, &tenth, &signed)?;
    }
    book.save_to_buffer()
}

fn line(
    page: &mut rust_xlsxwriter::Worksheet,
    at: u32,
    row: &SheetRow,
    fill: &Format,
    tenth: &Format,
    signed: &Format,
) -> Result<(), XlsxError> {
    page.write_number(at, 0, row.order as f64)?;
    page.write_string(at, 1, row.side.name())?;
    page.write_string(at, 2, row.row.name())?;
    page.write_string(at, 3, row.main.as_deref().unwrap_or_default())?;
    page.write_string(at, 4, &row.line)?;
    page.write_number_with_format(at, 5, tenths(row.expected_mm), tenth)?;
    if let Some(last_mm) = row.last_mm {
        page.write_number_with_format(at, 6, tenths(last_mm), tenth)?;
    }
    page.write_blank(at, 7, fill)?;
    let number = at + 1;
    let formula = Formula::new(format!("=IF(H{number}=\"\",\"\",H{number}-F{number})")).set_result("");
    page.write_formula_with_format(at, 8, formula, signed)?;
    Ok(())
}

fn tenths(value_mm: f64) -> f64 {
    (value_mm * 10.0).round() / 10.0
}
