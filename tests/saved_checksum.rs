//! Damage in what is saved is not read as values; readings that are in two parts are not counted twice unseen.

use linedrift::simulate::FleetSpec;
use linedrift::wear::{MergeError, Reduction, SavedFit, SavedFitError, WearSpec};

#[test]
fn a_saved_fit_with_any_figure_changed_is_refused() {
    let fleet = FleetSpec::default().wings(6).seed(3).run().unwrap().fleet;
    let saved = SavedFit::new(WearSpec::default().fit(&fleet).unwrap(), &fleet);
    let text = saved.to_json().unwrap();
    assert_eq!(SavedFit::from_json(&text).unwrap(), saved);
    let digits: Vec<usize> = text.match_indices(|letter: char| letter.is_ascii_digit()).map(|(at, _)| at).collect();
    assert!(digits.len() > 1_000);
    for &at in digits.iter().step_by(digits.len() / 300) {
        let mut bytes = text.clone().into_bytes();
        bytes[at] = if bytes[at] == b'9' { b'1' } else { bytes[at] + 1 };
        let changed = String::from_utf8(bytes).unwrap();
        assert!(SavedFit::from_json(&changed).is_err(), "digit {at}: {}", &text[at.saturating_sub(30)..at + 5]);
    }
    // one that another version wrote without a checksum is read
    let at = text.rfind(",\"caution\"").unwrap();
    assert_eq!(SavedFit::from_json(&(text[..at].to_owned() + "}")).unwrap(), saved);
    // a checksum that was moved is none
    let moved =
        text.replacen('{', &format!("{{{},", text[text.rfind("\"crc32\"").unwrap()..].trim_end_matches("}\n")), 1);
    assert!(matches!(SavedFit::from_json(&moved), Err(SavedFitError::Text { .. } | SavedFitError::Damaged { .. })));
}

#[test]
fn the_same_readings_in_two_parts_are_refused_and_counted_when_asked() {
    let fleet = FleetSpec::default().wings(4).seed(9).run().unwrap().fleet;
    let whole = Reduction::new(&fleet, &[]).unwrap();
    let error = whole.clone().merge(whole.clone()).unwrap_err();
    let lines: usize = fleet.histories().iter().flat_map(|one| &one.checks).map(|check| check.readings.len()).sum();
    let MergeError::Repeated { check, line, more, .. } = &error else { panic!("{error}") };
    assert_eq!(more + 1, lines);
    assert!(fleet.histories().iter().any(|one| one.checks.iter().any(|known| known.id == *check)));
    assert!(fleet.line_sets().iter().any(|set| set.lines().iter().any(|known| known.name == *line)));
    let merged = whole.clone().merge_with_repeats(whole.clone()).unwrap();
    assert_eq!(merged.repeated.len(), lines);
    assert_eq!(merged.reduction.readings(), 2 * whole.readings());
}

/// Bits of a Parquet table of our own, flipped one at a time: it is refused, or reads as before.
#[cfg(feature = "frames")]
mod parquet {
    use std::fs;

    use linedrift::fleet::{FolderSpec, TableFormat, write_folder};
    use linedrift::simulate::FleetSpec;

    #[test]
    fn a_flipped_bit_is_never_read_as_another_value() {
        let home = tempfile::tempdir().unwrap();
        let fleet = FleetSpec::default().wings(5).seed(4).run().unwrap().fleet;
        write_folder(&fleet, home.path(), TableFormat::Parquet).unwrap();
        let mut refused_by_checksum = 0;
        for table in ["readings", "lines", "checks"] {
            let path = home.path().join(format!("{table}.parquet"));
            let whole = fs::read(&path).unwrap();
            for at in (0..whole.len()).step_by((whole.len() / 80).max(1)) {
                let mut bytes = whole.clone();
                bytes[at] ^= 1 << (at % 8);
                fs::write(&path, bytes).unwrap();
                match FolderSpec::default().read(home.path()) {
                    Ok(read) => assert!(read.fleet == fleet, "{table}, byte {at} of {}", whole.len()),
                    Err(error) => refused_by_checksum += u32::from(error.to_string().contains("checksum")),
                }
            }
            fs::write(&path, whole).unwrap();
        }
        assert!(refused_by_checksum > 200, "{refused_by_checksum}");
        assert_eq!(FolderSpec::default().read(home.path()).unwrap().fleet, fleet);
    }
}
