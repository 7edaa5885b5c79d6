//! Bands for angle of attack and speed: published wings', and narrower ones from a wing's own figures.

use approx::assert_relative_eq;
use linedrift::check::Check;
use linedrift::trim::{
    BandBasis, ChordPoint, FlightBands, FlightFigures, Interval, PitchBalance, Polar, Trim, TrimPoint, TrimSpec,
    chord_fit,
};
use linedrift::wing::{LineSet, ModelData, Planform, PlanformStation, Row, Wing};
use proptest::prelude::*;

use crate::trim_run::{check_of, set_of};

/// The three sizes of Heatwole's wing: chord at the centre from the incidence that 5 mm make over 0.48 chords; span and
/// area from the reference wing's 13.64 m and 28.56 m² (second-hand) in that proportion; 40 km/h (A16, read); a glide of
/// 1/tan 7° (derived, as in A9). The masses are ours: what such sizes carry.
fn heatwole(incidence_deg: f64, mass_kg: f64) -> FlightFigures {
    let chord_m = 0.005 / (0.48 * incidence_deg.to_radians().abs());
    let scale = chord_m / 2.80;
    FlightFigures {
        span_m: 13.64 * scale,
        area_m2: 28.56 * scale * scale,
        tau: 0.0,
        arch_radius_m: None,
        mass_kg,
        trim_speed_kmh: 40.0,
        glide: 1.0 / 7f64.to_radians().tan(),
    }
}

fn exactly(incidence_deg: f64) -> Interval {
    let value = Some(incidence_deg);
    Interval { value, lower: value, upper: value }
}

fn inside(band: Interval, value: f64) -> bool {
    band.lower.unwrap() <= value && value <= band.upper.unwrap()
}

// Simulated with the thesis' open model (Heatwole): all A lines 5 mm shorter on three sizes of its wing.
#[test]
fn a15_inside_the_wide_and_the_narrow_bands() {
    let known = [(-0.2313, -0.2815, 0.964), (-0.2219, -0.2716, 0.942), (-0.2132, -0.2630, 0.917)];
    for ((incidence_deg, aoa_deg, speed_pct), mass_kg) in known.into_iter().zip([90.0, 100.0, 115.0]) {
        let own = heatwole(incidence_deg, mass_kg).bands().unwrap();
        assert_eq!(own.basis, BandBasis::Wing);
        for bands in [own, FlightBands::published()] {
            assert!(inside(bands.aoa_deg(exactly(incidence_deg), 1.0), aoa_deg), "{bands:?}");
            assert!(inside(bands.speed_pct(exactly(incidence_deg), 1.0), speed_pct), "{bands:?}");
        }
        assert!(own.speed_pct_per_deg.lower > FlightBands::published().speed_pct_per_deg.lower, "{own:?}");
    }
    // the chord of the first is the thesis' 2.58 m (read)
    let points = [ChordPoint { chord: 0.11, deviation_mm: -5.0 }, ChordPoint { chord: 0.59, deviation_mm: 0.0 }];
    assert!((chord_fit(&points, 2580.0).unwrap().incidence_deg + 0.2313).abs() < 1e-4);
}

// Derived: the balance differentiated against the difference of two balances, by different roads.
#[test]
fn the_response_is_the_slope_of_the_balance() {
    let balance = PitchBalance { section_moment: -0.02, arm: 2.6, suspended_drag: 0.019, line_drag: 0.0095 };
    for lift_slope_per_rad in [2.8, 3.8, 4.6] {
        let polar = Polar { lift_slope_per_rad, zero_lift_deg: -3.0, zero_lift_drag: 0.045, induced: 0.075 };
        let rigging_deg = -4.0;
        let aoa_deg = balance.trim_deg(rigging_deg, &polar).unwrap();
        let glide = polar.at(aoa_deg);
        let point = TrimPoint {
            lift: glide.resultant * glide.glide_deg.to_radians().cos(),
            drag: glide.resultant * glide.glide_deg.to_radians().sin(),
            lift_slope_per_rad,
            induced: 0.075,
        };
        let found = balance.response(&point).unwrap();
        let by_difference = balance.aoa_per_incidence(rigging_deg, &polar).unwrap();
        assert_relative_eq!(found.aoa_per_incidence, by_difference, max_relative = 1e-5);
        // speed goes with the resultant to the power −½
        let at = |rigging_deg: f64| polar.at(balance.trim_deg(rigging_deg, &polar).unwrap()).resultant.powf(-0.5);
        let speed = (at(rigging_deg - 0.01) / at(rigging_deg + 0.01) - 1.0) / 0.02 * -100.0;
        assert_relative_eq!(found.speed_pct_per_deg, speed, max_relative = 1e-3);
    }
    let bare = TrimPoint { lift: 0.01, drag: 0.5, lift_slope_per_rad: 4.0, induced: 0.05 };
    assert_eq!(PitchBalance { section_moment: -5.0, ..balance }.response(&bare), None);
}

// By hand, from the formula in the documentation: lift 0.6, drag 0.08, slope 4, k 0.05, no section moment, hanging drag
// D = 0.02 + 0.02/2. Lean λ = atan(0.05/0.6) = 4.7636°, γ = atan(0.08/0.6) = 7.5946°, x = −2.8310°; C_R = 0.605310,
// C_D′ = 0.24, γ′ = (0.144 − 0.32)/0.3664 = −0.480349, C_R′ = 2.4192/0.605310 = 3.996631. Push 0.604571 − 0.002491 =
// 0.602080; hold 0.894976 − 0.197394 − 0.002491 = 0.695091. Their ratio is 0.86619; 50 · 3.996631/0.605310 · 0.86619 per
// radian are 4.9909 % per degree.
#[test]
fn the_response_is_what_a_hand_makes_of_the_formula() {
    let balance = PitchBalance { section_moment: 0.0, arm: 2.0, suspended_drag: 0.02, line_drag: 0.02 };
    let point = TrimPoint { lift: 0.6, drag: 0.08, lift_slope_per_rad: 4.0, induced: 0.05 };
    let found = balance.response(&point).unwrap();
    assert!((found.aoa_per_incidence - 0.86619).abs() < 5e-6, "{found:?}");
    assert!((found.speed_pct_per_deg - 4.9909).abs() < 5e-5, "{found:?}");
}

proptest! {
    #[test]
    fn narrow_bands_lie_within_wide_ones(
        span_m in 7.0..16.0_f64,
        area_m2 in 14.0..45.0_f64,
        mass_kg in 40.0..240.0_f64,
        trim_speed_kmh in 28.0..48.0_f64,
        glide in 4.0..13.0_f64,
        arch in proptest::option::of(0.4..2.0_f64),
        tau in 0.0..0.2_f64,
    ) {
        let arch_radius_m = arch.map(|ratio| ratio * span_m);
        let figures = FlightFigures { span_m, area_m2, tau, arch_radius_m, mass_kg, trim_speed_kmh, glide };
        if let Some(own) = figures.bands() {
            let wide = FlightBands::published();
            for (narrow, wide) in
                [(own.aoa_deg_per_deg, wide.aoa_deg_per_deg), (own.speed_pct_per_deg, wide.speed_pct_per_deg)]
            {
                prop_assert!(narrow.lower >= wide.lower && narrow.upper <= wide.upper);
                prop_assert!(narrow.lower <= narrow.centre && narrow.centre <= narrow.upper);
            }
            // less is left unknown when the arch is given
            if arch_radius_m.is_some_and(|radius| (0.48..=1.0).contains(&(radius / span_m))) {
                // some other arch within the range may have no answer, and then the blind figures have none
                if let Some(blind) = (FlightFigures { arch_radius_m: None, ..figures }).bands() {
                    prop_assert!(own.speed_pct_per_deg.lower >= blind.speed_pct_per_deg.lower);
                    prop_assert!(own.speed_pct_per_deg.upper <= blind.speed_pct_per_deg.upper);
                }
            }
        }
    }
}

fn full() -> ModelData {
    ModelData {
        span_m: Some(11.5),
        area_m2: Some(25.0),
        trim_speed_kmh: Some(38.0),
        glide: Some(9.0),
        ..ModelData::default()
    }
}

fn wing(mass_kg: Option<f64>) -> Wing {
    Wing { mass_kg, ..Wing::new("w7", "Rook 2") }
}

fn set(data: ModelData) -> LineSet {
    set_of(&[(Row::A, Some(0.11), 8), (Row::C, Some(0.59), 8)], data)
}

fn front_short(set: &LineSet, mm: f64) -> Check {
    check_of(set, |_, line| Some(if line.row == Row::A { -mm } else { 0.0 }))
}

fn judged(spec: &TrimSpec, data: ModelData, mass_kg: Option<f64>, mm: f64) -> Trim {
    let set = set(data);
    spec.run(&set, &wing(mass_kg), &front_short(&set, mm)).unwrap()
}

fn codes(trim: &Trim) -> Vec<&str> {
    trim.notes.iter().map(|note| note.code.as_str()).filter(|code| code.starts_with("bands")).collect()
}

#[test]
fn every_figure_is_needed_and_the_missing_one_is_named() {
    let spec = TrimSpec::default();
    let own = judged(&spec, full(), Some(95.0), 5.0);
    assert_eq!(own.bands.unwrap().basis, BandBasis::Wing);
    assert_eq!(codes(&own), ["bands_wing"]);
    let root = |data: ModelData| ModelData { root_chord_m: Some(2.77), ..data };
    let lacking = [
        ("span_m", root(ModelData { span_m: None, ..full() }), Some(95.0)),
        ("trim_speed_kmh", ModelData { trim_speed_kmh: None, ..full() }, Some(95.0)),
        ("glide", ModelData { glide: None, ..full() }, Some(95.0)),
        ("mass_kg", full(), None),
        ("mass_kg", full(), Some(f64::NAN)),
    ];
    for (name, data, mass_kg) in lacking {
        let trim = judged(&spec, data, mass_kg, 5.0);
        assert_eq!(trim.bands, Some(FlightBands::published()), "{name}");
        let note = trim.notes.iter().find(|note| note.code == "bands_published").unwrap();
        assert!(note.message.contains(name), "{}", note.message);
    }
    // without the area it follows from chord and span
    let chord = judged(&spec, root(ModelData { area_m2: None, ..full() }), Some(95.0), 5.0);
    assert_eq!(chord.bands.unwrap().basis, BandBasis::Wing);
    // without either no incidence is stated, hence no band
    let neither = judged(&spec, ModelData { area_m2: None, ..full() }, Some(95.0), 5.0);
    assert!(neither.bands.is_none() && neither.aoa_change_deg == Interval::default());
    assert!(codes(&neither).is_empty());
}

#[test]
fn figures_that_do_not_go_together_give_the_wide_band() {
    for data in [
        ModelData { trim_speed_kmh: Some(9.0), ..full() },
        ModelData { glide: Some(40.0), ..full() },
        ModelData { span_m: Some(60.0), ..full() },
    ] {
        let trim = judged(&TrimSpec::default(), data, Some(95.0), 1.0);
        assert_eq!(trim.bands, Some(FlightBands::published()));
        assert_eq!(codes(&trim), ["bands_implausible"]);
    }
}

#[test]
fn own_bands_are_refused_past_one_degree_too() {
    let trim = judged(&TrimSpec::default(), full(), Some(95.0), 25.0);
    assert!(trim.incidence_change_deg.value.unwrap() < -1.0);
    assert!(trim.bands.is_none() && trim.aoa_change_deg == Interval::default());
    assert_eq!(trim.speed_change_pct, Interval::default());
    assert!(codes(&trim).is_empty() && trim.notes.iter().any(|note| note.code == "past_range"));
}

#[test]
fn a_planform_through_stations_counts_with_its_own_lift_slope() {
    let at = |y_m, chord_m| PlanformStation { y_m, z_m: 0.0, chord_m };
    let planform = Planform::through(&[at(0.0, 2.6), at(4.0, 2.2), at(5.75, 0.9)]).unwrap();
    let figures = ModelData { span_m: None, area_m2: None, ..full() };
    let flat = judged(&TrimSpec::default().planform(planform.clone()), figures, Some(95.0), 5.0);
    assert_eq!(flat.bands.unwrap().basis, BandBasis::Wing);
    let bent = planform.with_arch_radius(5.75).unwrap();
    let bent = judged(&TrimSpec::default().planform(bent), figures, Some(95.0), 5.0);
    // a bent wing lifts less for an angle, and its arch is no longer unknown
    assert!(bent.bands.unwrap().speed_pct_per_deg.upper <= flat.bands.unwrap().speed_pct_per_deg.upper);
    assert_ne!(bent.bands, flat.bands);
}

/// Every key of a document, however deep.
fn keys(value: &serde_json::Value, found: &mut Vec<String>) {
    match value {
        serde_json::Value::Object(map) => {
            for (key, inner) in map {
                found.push(key.clone());
                keys(inner, found);
            }
        }
        serde_json::Value::Array(items) => items.iter().for_each(|item| keys(item, found)),
        _ => {}
    }
}

#[test]
fn no_output_states_an_absolute_angle_of_attack() {
    let trim = judged(&TrimSpec::default(), full(), Some(95.0), 5.0);
    let mut found = Vec::new();
    keys(&serde_json::to_value(&trim).unwrap(), &mut found);
    let angles: Vec<&String> = found.iter().filter(|key| key.contains("aoa") || key.contains("alpha")).collect();
    assert!(angles.len() >= 2, "{angles:?}");
    assert!(angles.iter().all(|key| key.contains("change") || key.contains("per_deg")), "{angles:?}");
    // no change at all gives a band around nothing, whatever the wing's own angle
    let still = judged(&TrimSpec::default(), full(), Some(95.0), 0.0);
    assert_eq!(still.aoa_change_deg.value, Some(0.0));
    assert_eq!(still.speed_change_pct.value, Some(0.0));
    for line in trim.to_string().lines().filter(|line| line.to_lowercase().contains("angle of attack")) {
        assert!(line.contains("change") || line.contains('('), "{line}");
    }
}
