//! Power against simulation by hand, and settings from TOML.

use linedrift::Row;
use linedrift::simulate::{FleetSpec, PowerSpec, SimulateError, Spreads};
use linedrift::wear::{ContrastSpec, Shape, WearSpec};

fn spec() -> PowerSpec {
    PowerSpec::new("uhmwpe:C - uhmwpe:B").wings([6, 18]).checks([2]).replicates(40).fleet(small_effect())
}

/// Rows B and C that differ by 0.04 mm/m: found sometimes.
fn small_effect() -> FleetSpec {
    FleetSpec::default().rate("uhmwpe", Row::C, -0.59).rate("uhmwpe", Row::B, -0.55)
}

#[test]
fn power_is_what_a_loop_by_hand_counts() {
    let power = spec().run().unwrap();
    assert!((power.truth() - -0.04).abs() < 1e-12);
    for row in power.rows() {
        let mut found = 0;
        let mut widths = 0.0;
        for replicate in 0..40_u64 {
            let seed = 1 + 1_000_003 * replicate;
            let made = small_effect().wings(row.wings).years(6.0).seed(seed).run().unwrap().fleet;
            let mut histories = made.histories().to_vec();
            histories.iter_mut().for_each(|history| history.checks.truncate(2));
            let made = linedrift::Fleet::new(made.line_sets().to_vec(), histories).unwrap();
            let fit = WearSpec::default().shape(Shape::LINEAR).fit(&made).unwrap();
            let asked = ContrastSpec::default().contrast("uhmwpe:C - uhmwpe:B").run(&fit, &[]).unwrap();
            let answer = &asked.rows()[0].row;
            found += usize::from(answer.lower > 0.0 || answer.upper < 0.0);
            widths += (answer.upper - answer.lower) / 2.0;
        }
        assert_eq!(row.fleets, 40);
        assert!((row.power - found as f64 / 40.0).abs() < 1e-12, "{row:?} against {found} of 40");
        assert!((row.half_width - widths / 40.0).abs() < 1e-12, "{row:?}");
        assert!(row.power_lower <= row.power && row.power <= row.power_upper);
    }
    let rows = power.rows();
    assert!(rows[1].half_width < rows[0].half_width, "more wings are more exact");
    assert_eq!(power, spec().run().unwrap());
}

#[test]
fn a_question_that_cannot_be_put_is_refused() {
    let refused = PowerSpec::new("straw:C").wings([6]).replicates(2).run();
    assert!(matches!(refused, Err(SimulateError::NoAnswer { .. })), "{refused:?}");
    assert!(
        spec().replicates(1).run().is_err() && spec().checks([0]).run().is_err() && spec().level(1.0).run().is_err()
    );
}

#[test]
fn every_setting_has_its_name_in_toml() {
    let spec = FleetSpec::demo();
    let value = serde_json::to_value(&spec).unwrap();
    // whatever a spec holds can be written and comes back
    let text = value
        .as_object()
        .unwrap()
        .iter()
        .filter(|(_, value)| value.is_number() || value.is_string())
        .fold(String::new(), |text, (name, value)| format!("{text}{name} = {value}\n"));
    let spreads = value["spreads"].as_object().unwrap().iter();
    let text = spreads.fold(text + "[spreads]\n", |text, (name, value)| format!("{text}{name} = {value}\n"));
    let back = FleetSpec::from_toml(&text).unwrap();
    assert_eq!(back.true_spreads(), spec.true_spreads());
    assert_eq!((back.wing_count(), back.common_offset_mm()), (spec.wing_count(), spec.common_offset_mm()));
    let log = FleetSpec::from_toml("shape = { kind = \"log\", scale_h = 40.0 }").unwrap();
    assert_eq!(log.time_shape(), Shape::Log { scale_h: 40.0 });
    assert_eq!(FleetSpec::from_toml("").unwrap(), FleetSpec::default());
    for wrong in ["wigns = 3", "[spreads]\nreading = 1.0", "wings = \"many\"", "wings"] {
        assert!(matches!(FleetSpec::from_toml(wrong), Err(SimulateError::Settings { .. })), "{wrong}");
    }
}

#[test]
fn a_study_can_be_planned_from_a_fit() {
    let truth = FleetSpec::default().wings(40).seed(5).spreads(Spreads { reading_mm: 3.0, ..Spreads::default() });
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&truth.run().unwrap().fleet).unwrap();
    let like = FleetSpec::default().like(&fit);
    assert_eq!(like.true_spreads().reading_mm, fit.reading_sd_mm());
    let rate = fit.terms().iter().find(|term| term.term == "rate:uhmwpe:C").unwrap().estimate;
    assert_eq!(like.true_value("rate:uhmwpe:C"), rate);
    assert_eq!(like.true_value("rate:straw:C"), 0.0);
}
