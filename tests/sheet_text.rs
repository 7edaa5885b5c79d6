//! Measuring sheets out and in: order, faults with row and column, and the wide file.

use linedrift::check::sheet::{FilledSheet, SheetFault, SheetSpec};
use linedrift::simulate::{FleetSpec, Simulated};
use linedrift::wing::Side;
use proptest::prelude::*;

fn made() -> Simulated {
    FleetSpec::default().wings(2).missing_share(0.0).run().unwrap()
}

fn find(faults: &[SheetFault], row: usize, column: &str) -> SheetFault {
    faults
        .iter()
        .find(|fault| fault.row == row && fault.column == column)
        .unwrap_or_else(|| panic!("no fault at row {row}, column {column}: {faults:#?}"))
        .clone()
}

#[test]
fn the_order_of_measuring() {
    let made = made();
    let set = &made.fleet.line_sets()[0];
    let check = &made.fleet.histories()[0].checks[0];
    let sheet = SheetSpec::default().datum_mm(-500.0).run(set, Some(check));
    let rows = sheet.rows();
    assert_eq!(rows.len(), 2 * set.lines().len());
    let half = rows.len() / 2;
    assert!(rows[..half].iter().all(|row| row.side == Side::Left));
    assert!(rows[half..].iter().all(|row| row.side == Side::Right));
    let left: Vec<&str> = rows[..half].iter().map(|row| row.line.as_str()).collect();
    assert_eq!(&left[..3], ["A1", "A2", "A3"]);
    for pair in rows.windows(2).filter(|pair| pair[0].side == pair[1].side) {
        assert!(pair[0].row <= pair[1].row);
    }
    // a main, once left, does not come again
    let mut mains: Vec<_> = rows[..half].iter().map(|row| row.main.clone()).collect();
    mains.dedup();
    let all = mains.len();
    mains.sort();
    mains.dedup();
    assert_eq!(mains.len(), all);
    let first = &rows[0];
    assert_eq!(first.expected_mm, first.nominal_mm - 500.0);
    // what the last check found, on an instrument with this datum
    let reading = check.readings.iter().find(|one| one.side == Side::Left && one.line == first.line_index).unwrap();
    approx::assert_abs_diff_eq!(first.last_mm.unwrap(), reading.reading_mm - check.datum_mm - 500.0, epsilon = 1e-9);
    assert!(SheetSpec::default().run(set, None).rows().iter().all(|row| row.last_mm.is_none()));
    let text = SheetSpec::default().first_side(Side::Right).run(set, None).to_csv();
    assert!(text.starts_with("order,side,row,main,line,expected_mm,last_mm,reading_mm\n1,right,A,AM1,A1,"), "{text}");
}

#[test]
fn mains_that_interleave_are_kept_together() {
    let made = made();
    let set = &made.fleet.line_sets()[0];
    let mut lines = set.lines().to_vec();
    lines[1].main = lines[13].main.clone();
    let set = linedrift::wing::LineSet::new("x", None, lines, set.segments().to_vec()).unwrap();
    let sheet = SheetSpec::default().run(&set, None);
    let names: Vec<&str> = sheet.rows()[..14].iter().map(|row| row.line.as_str()).collect();
    assert_eq!(names[..5], ["A1", "A3", "A4", "A5", "A2"]);
}

#[test]
fn a_filled_sheet_comes_back_as_the_check() {
    let made = made();
    let set = &made.fleet.line_sets()[0];
    let check = &made.fleet.histories()[0].checks[0];
    let blank = SheetSpec::default().run(set, None).to_csv();
    let mut filled = String::from("\u{feff}");
    for (at, row) in blank.lines().enumerate() {
        filled += row;
        if at > 0 {
            let cells: Vec<&str> = row.split(',').collect();
            let side: Side = cells[1].parse().unwrap();
            let line = set.find(cells[4], side).unwrap();
            let reading = check.readings.iter().find(|one| one.side == side && one.line == line).unwrap();
            filled += &reading.reading_mm.to_string();
        }
        filled += "\r\n";
    }
    let read = FilledSheet::read(set, &filled).unwrap();
    assert!(read.is_whole() && read.unused_columns.is_empty());
    assert_eq!(read.readings.len(), check.readings.len());
    for reading in &check.readings {
        assert!(read.readings.iter().any(|one| one == reading));
    }
    // the same by the hand of a spreadsheet that writes semicolons and decimal commas
    let other: String = filled.replace(',', ";").replace(".5", ",5");
    assert_eq!(FilledSheet::read(set, &other).unwrap().readings.len(), check.readings.len());
    let part: String = filled.split_inclusive('\n').take(20).collect();
    let part = FilledSheet::read(set, &part).unwrap();
    assert_eq!(part.readings.len() + part.unread.len(), 2 * set.lines().len());
}

#[test]
fn every_fault_of_a_sheet_is_told_with_its_place() {
    let made = made();
    let set = &made.fleet.line_sets()[0];
    let text = "side,line,reading_mm,repeat,note\n\
        left,A1,6473,,\n\
        lft,A2,6473,,\n\
        \n\
        left,A99,6473,,\n\
        right,A1,six,,\n\
        right,A2,-5,,\n\
        right,A3,\"6,473\",,\n\
        left,A1,6474,,\n\
        right,A4,\"6473,5\",,\n\
        right,A5,6473.5,,\n\
        right,A6,6473,0,\n\
        right,A7,\"6,473.5\",,\n\
        right,A8,6473,1,,5\n\
        right,A9,NaN,,\n\
        right,A10,1e9,,\n\
        right,A11,,,\n";
    let faults = FilledSheet::read(set, text).unwrap_err().faults;
    for (row, column, value) in [
        (3, "side", "lft"),
        (5, "line", "A99"),
        (6, "reading_mm", "six"),
        (7, "reading_mm", "-5"),
        (8, "reading_mm", "6,473"),
        (9, "line", "A1"),
        (11, "reading_mm", "6473.5"),
        (12, "repeat", "0"),
        (13, "reading_mm", "6,473.5"),
        (14, "", "5"),
        (15, "reading_mm", "NaN"),
        (16, "reading_mm", "1e9"),
    ] {
        assert_eq!(find(&faults, row, column).value, value);
    }
    assert_eq!(faults.len(), 12, "{faults:#?}");
    assert!(faults.windows(2).all(|pair| pair[0].row <= pair[1].row));
    assert!(find(&faults, 8, "reading_mm").expected.contains("thousands"));
    assert!(find(&faults, 9, "line").expected.contains("row 2"));
    let missing = FilledSheet::read(set, "side;reading\nleft;5\n").unwrap_err();
    assert_eq!(missing.faults.len(), 2);
    assert!(missing.to_string().contains("column `line`"), "{missing}");
    assert!(FilledSheet::read(set, "").is_err());
    assert!(FilledSheet::read(set, "side,line,reading_mm\nleft,\"A1,6473\n").is_err());
}

#[test]
fn repeats_and_operators_are_read() {
    let made = made();
    let set = &made.fleet.line_sets()[0];
    let text = "line,side,operator,repeat,reading_mm\nA1,left,one,1,6000\nA1,left,one,2,6001\nA1,left,two,1,6003\n";
    let read = FilledSheet::read(set, text).unwrap();
    assert_eq!(read.readings[1].repeat, 2);
    assert_eq!(read.readings[2].operator.as_deref(), Some("two"));
    let again = format!("{text}A1,left,two,1,6003\n");
    assert_eq!(FilledSheet::read(set, &again).unwrap_err().faults[0].row, 5);
}

proptest! {
    /// Whatever the text, an answer and no panic.
    #[test]
    fn any_text_is_answered(text in "[A-C0-9,;.\"\\n\\r\t=a-z_é-]{0,120}", head in 0usize..4) {
        let heads = ["", "side,line,reading_mm\n", "line;row;nominal;left;right\n", "sep="];
        let text = format!("{}{text}", heads[head]);
        let made = FleetSpec::default().wings(1).models(1).run().unwrap();
        let _ = FilledSheet::read(&made.fleet.line_sets()[0], &text);
        #[cfg(feature = "frames")]
        if let Ok(file) = linedrift::fleet::spreadsheet::SpreadsheetSpec::default()
            .unit(linedrift::check::sheet::LengthUnit::Centimetre)
            .read_bytes("any", text.as_bytes(), None)
            && let Ok(set) = file.line_set("x")
        {
            prop_assert!(set.lines().iter().all(|line| line.nominal_mm > 0.0));
            let _ = file.readings(&set);
        }
    }
}
