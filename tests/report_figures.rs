//! The figures of one wing: incidence along the span and the plan view.

use linedrift::check::{Budget, Check};
use linedrift::report::{FIGURE_CSS, Figure, incidence_figure, wing_plan_figure};
use linedrift::trim::{Trim, TrimSpec, Verdict};
use linedrift::wing::{Line, LineSet, ModelData, Planform, PlanformStation, Row, Side, Wing};
use proptest::prelude::*;

use crate::trim_run::{check_of, root_chord, set_of, three_rows};

fn judge(set: &LineSet, check: &Check) -> Trim {
    TrimSpec::default().run(set, &Wing::new("w7", "Rook 2"), check).unwrap()
}

fn uneven(side: Side, line: &Line) -> f64 {
    let out = f64::from(line.rank) * (0.9 - 0.4 * line.row.index() as f64);
    (if side == Side::Left { out } else { -0.5 * out }) + if line.name == "A2" { -16.0 } else { 0.0 }
}

/// As a deviation of a check.
#[allow(clippy::unnecessary_wraps, reason = "a line may be left out")]
fn off(side: Side, line: &Line) -> Option<f64> {
    Some(uneven(side, line))
}

fn svg(figure: &Figure) -> String {
    figure.inline_svg("x")
}

#[test]
fn the_two_figures_of_a_small_wing() {
    let data = ModelData { span_m: Some(9.0), ..root_chord(2.4) };
    let rows = [(Row::A, Some(0.12), 3), (Row::B, Some(0.6), 2), (Row::Brake, None, 1)];
    let set = set_of(&rows, data);
    let trim = judge(&set, &check_of(&set, off));
    insta::assert_snapshot!("incidence_of_a_small_wing", svg(&incidence_figure(&trim).unwrap().unwrap()));
    insta::assert_snapshot!("plan_of_a_small_wing", svg(&wing_plan_figure(&trim, &set, None).unwrap()));
}

#[test]
fn every_line_read_has_one_mark_that_says_its_sign() {
    let set = three_rows();
    let mut check = check_of(&set, off);
    check.readings.truncate(check.readings.len() - 5);
    let trim = judge(&set, &check);
    let figure = wing_plan_figure(&trim, &set, None).unwrap();
    let text = svg(&figure);
    let (level, longer, shorter) =
        trim.lines.iter().fold((0, 0, 0), |(level, longer, shorter), line| match line.relative_mm {
            mm if mm.abs() < 1.0 => (level + 1, longer, shorter),
            mm if mm > 0.0 => (level, longer + 1, shorter),
            _ => (level, longer, shorter + 1),
        });
    assert!(level > 3 && longer > 10 && shorter > 10);
    let pointing = |up: bool| {
        // from the tip to the base, downwards where the tip is up
        corners(&text).iter().filter(|mark| (mark.height > 0.0) == up).count()
    };
    assert_eq!((pointing(true), pointing(false)), (longer, shorter));
    assert_eq!(text.matches("</circle>").count(), level);
    let outside = trim.lines.iter().filter(|line| line.verdict == Some(Verdict::Outside)).count();
    // one more in the legend
    assert_eq!(text.matches("mark out").count(), outside + 1);
    assert!(figure.description().contains(&format!("{longer} longer (pointing up), {shorter} shorter")));
    assert!(figure.description().contains(&format!("{outside} outside tolerance")));
}

/// A triangle of the plan view: its class, its tip and how far its base lies below that.
struct Triangle {
    class: String,
    tip: [f64; 2],
    height: f64,
}

fn corners(text: &str) -> Vec<Triangle> {
    let drawn =
        text.split("<path class=\"mark").skip(1).filter(|rest| rest.split("</").next().unwrap().contains("<title>"));
    drawn
        .map(|rest| {
            let class = rest.split('"').next().unwrap().to_owned();
            let path = rest.split("d=\"M").nth(1).unwrap().split('h').next().unwrap();
            let (tip, base) = path.split_once('l').unwrap();
            let number = |text: &str| text.parse::<f64>().unwrap();
            let [x, y] = [0, 1].map(|at| number(tip.split(' ').nth(at).unwrap()));
            Triangle { class, tip: [x, y], height: number(base.split(' ').nth(1).unwrap()) }
        })
        .collect()
}

/// All marks in order of class and place, left and right exchanged where asked for.
fn marks(text: &str, mirrored: bool) -> Vec<Triangle> {
    let mut found = corners(text);
    for mark in &mut found {
        mark.tip[0] = if mirrored { 1180.0 - mark.tip[0] } else { mark.tip[0] };
    }
    found.sort_by(|a, b| a.class.cmp(&b.class).then(a.tip[0].total_cmp(&b.tip[0])));
    found
}

/// Whether two drawings have the same marks, but for the rounding of places to a tenth.
fn alike(one: &[Triangle], other: &[Triangle]) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 0.11;
    let same = |(a, b): (&Triangle, &Triangle)| {
        a.class == b.class && near(a.tip[0], b.tip[0]) && near(a.tip[1], b.tip[1]) && near(a.height, b.height)
    };
    one.len() == other.len() && one.iter().zip(other).all(same)
}

#[test]
fn the_mirrored_wing_has_the_mirrored_picture() {
    let set = three_rows();
    let one = judge(&set, &check_of(&set, off));
    let other = judge(&set, &check_of(&set, |side, line| Some(uneven(side.mirror(), line))));
    let [one_plan, other_plan] = [&one, &other].map(|trim| svg(&wing_plan_figure(trim, &set, None).unwrap()));
    assert!(alike(&marks(&one_plan, true), &marks(&other_plan, false)));
    assert!(!alike(&marks(&one_plan, false), &marks(&other_plan, false)));
    // heights of the dots or rings, each of which begins with its place
    let heights = |trim: &Trim, class: &str| {
        let text = svg(&incidence_figure(trim).unwrap().unwrap());
        let start = format!("<path class=\"{class}\" d=\"");
        let mut y: Vec<String> = text
            .split(&start)
            .skip(1)
            .flat_map(|rest| rest.split('"').next().unwrap().split('M').skip(1))
            .map(|mark| mark.split([' ', 'h', 'a']).nth(1).unwrap().to_owned())
            .collect();
        y.sort();
        y
    };
    assert_eq!(heights(&one, "s-left dot"), heights(&other, "s-rightmark"));
    assert_eq!(heights(&one, "s-left dot").len(), 10);
}

#[test]
fn names_are_escaped_and_words_stand_for_the_picture() {
    let base = three_rows();
    let mut lines = base.lines().to_vec();
    lines[1].name = "<b>&\"2".to_owned();
    let set = LineSet::new("Rook 2", None, lines, base.segments().to_vec()).unwrap().with_data(root_chord(2.6));
    let mut trim = judge(&set, &check_of(&set, |_, line| Some(if line.name.starts_with('<') { -20.0 } else { 0.0 })));
    trim.wing = "<i>'7".to_owned();
    for figure in [wing_plan_figure(&trim, &set, None).unwrap(), incidence_figure(&trim).unwrap().unwrap()] {
        let text = figure.standalone();
        assert!(!text.contains("<b>") && !text.contains("<i>"), "{text}");
        assert!(text.contains("&lt;i&gt;&#39;7") && text.contains("<desc") && text.contains("xmlns="));
    }
    let plan = wing_plan_figure(&trim, &set, None).unwrap();
    assert!(svg(&plan).contains("&lt;b&gt;&amp;&quot;2</text>"));
}

#[test]
fn what_is_not_known_is_not_drawn() {
    let set = three_rows();
    let none = judge(&set, &Check::new("c1", linedrift::Date::constant(2024, 5, 1), 0.0));
    assert!(wing_plan_figure(&none, &set, None).is_none() && incidence_figure(&none).unwrap().is_none());
    let left = judge(&set, &check_of(&set, |side, line| (side == Side::Left).then(|| uneven(side, line))));
    let figure = incidence_figure(&left).unwrap().unwrap();
    assert!(!svg(&figure).contains("s-rightmark") && !figure.description().contains("right"));
    // no chord, no planform: the lines have a place all the same
    let bare = set_of(&[(Row::A, None, 5), (Row::B, None, 5)], ModelData::default());
    let trim = judge(&bare, &check_of(&bare, off));
    assert!(incidence_figure(&trim).unwrap().is_none());
    assert_eq!(svg(&wing_plan_figure(&trim, &bare, None).unwrap()).matches("<title>").count(), 20);
}

#[test]
fn the_outline_is_that_of_the_planform() {
    let set = three_rows();
    let trim = judge(&set, &check_of(&set, off));
    let at = |y_m, chord_m| PlanformStation { y_m, z_m: 0.0, chord_m };
    let square = Planform::through(&[at(0.0, 2.5), at(5.5, 2.5)]).unwrap();
    let outline = |planform: Option<&Planform>| {
        let text = svg(&wing_plan_figure(&trim, &set, planform).unwrap());
        let points = text.split("f-wing\" points=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        let y: Vec<f64> = points.split(' ').map(|at| at.split(',').nth(1).unwrap().parse().unwrap()).collect();
        // chord at the tip and at the centre
        [y[y.len() - 1] - y[0], y[y.len() * 3 / 4] - y[y.len() / 4]]
    };
    let [tip, centre] = outline(Some(&square));
    assert!((tip - centre).abs() < 0.2 && centre > 100.0, "{tip} {centre}");
    let [tip, centre] = outline(None);
    assert!(tip < 1.0 && centre > 100.0, "{tip} {centre}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    #[test]
    fn no_reading_breaks_a_figure(
        off in prop::collection::vec(prop_oneof![-3000.0..3000.0_f64, -12.0..12.0_f64, Just(0.0)], 76),
        kept in prop::collection::vec(any::<bool>(), 76),
    ) {
        let set = three_rows();
        let at = |side: Side, line: &Line| {
            side.index() * 38 + set.lines().iter().position(|other| other == line).unwrap()
        };
        let check = check_of(&set, |side, line| kept[at(side, line)].then(|| off[at(side, line)]));
        let trim = TrimSpec::default().budget(Budget::default()).run(&set, &Wing::new("w7", "Rook 2"), &check).unwrap();
        let figures = [wing_plan_figure(&trim, &set, None), incidence_figure(&trim).unwrap()];
        for text in figures.iter().flatten().map(svg) {
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{}", text);
        }
        if let Some(plan) = &figures[0] {
            prop_assert_eq!(svg(plan).matches("<title>").count(), trim.lines.len());
        }
    }
}

/// The scale's colours of one theme, short to long.
fn colours(theme: usize) -> Vec<[f64; 3]> {
    let rule = FIGURE_CSS.split(".fig{").nth(theme + 1).unwrap();
    ["s4", "s3", "s2", "s1", "l0", "l1", "l2", "l3", "l4"]
        .map(|name| {
            let code = rule.split(&format!("--{name}:#")).nth(1).unwrap();
            [0, 2, 4].map(|at| {
                let value = f64::from(u8::from_str_radix(&code[at..at + 2], 16).unwrap()) / 255.0;
                if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
            })
        })
        .to_vec()
}

fn times(matrix: [[f64; 3]; 3], by: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| row.iter().zip(by).map(|(a, b)| a * b).sum())
}

/// `OKLab` of linear RGB (Ottosson 2020, from memory).
fn oklab(rgb: [f64; 3]) -> [f64; 3] {
    let cones = times(
        [
            [0.412_221_470_8, 0.536_332_536_3, 0.051_445_992_9],
            [0.211_903_498_2, 0.680_699_545_1, 0.107_396_956_6],
            [0.088_302_461_9, 0.281_718_837_6, 0.629_978_700_5],
        ],
        rgb,
    )
    .map(f64::cbrt);
    times(
        [
            [0.210_454_255_3, 0.793_617_785, -0.004_072_046_8],
            [1.977_998_495_1, -2.428_592_205, 0.450_593_709_9],
            [0.025_904_037_1, 0.782_771_766_2, -0.808_675_766],
        ],
        cones,
    )
}

fn apart(one: [f64; 3], other: [f64; 3]) -> f64 {
    one.iter().zip(other).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

// Equal steps of the scale look equal, the two ends are as light as each other, and they stay apart for eyes without the
// long or the middle cone (full dichromacy by the matrices of Machado, Oliveira and Fernandes 2009, from memory).
#[test]
fn the_scale_has_equal_steps_and_ends_that_everybody_tells_apart() {
    let protan =
        [[0.152_286, 1.052_583, -0.204_868], [0.114_503, 0.786_281, 0.099_216], [-0.003_882, -0.048_116, 1.051_998]];
    let deutan =
        [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_82, 0.042_94, 0.968_881]];
    for theme in 0..3 {
        let colours = colours(theme);
        let lab: Vec<[f64; 3]> = colours.iter().map(|rgb| oklab(*rgb)).collect();
        let steps: Vec<f64> = lab.windows(2).map(|pair| apart(pair[0], pair[1])).collect();
        let mean = steps.iter().sum::<f64>() / 8.0;
        // eight bits a channel move a colour by up to 0.003
        assert!(steps.iter().all(|step| (step - mean).abs() < 0.006) && mean > 0.08, "{theme}: {steps:?}");
        assert!((lab[0][0] - lab[8][0]).abs() < 0.01, "{theme}: as light as each other");
        for eyes in [protan, deutan] {
            let seen = |rgb: [f64; 3]| oklab(times(eyes, rgb).map(|value| value.clamp(0.0, 1.0)));
            let ends = apart(seen(colours[0]), seen(colours[8]));
            assert!(ends > 0.15, "{theme}: {ends}");
            for (one, other) in colours.iter().zip(colours.iter().rev()).take(3) {
                assert!(apart(seen(*one), seen(*other)) > 0.07, "{theme}");
            }
        }
    }
}
