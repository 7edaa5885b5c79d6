//! The wing from above, each line with its deviation.

use std::fmt::Write as _;

use super::figure::Figure;
use crate::report::escape;
use crate::report::words::{count, number, signed, verdicts};
use crate::trim::{LineVerdict, Trim, Verdict};
use crate::wing::{LineSet, Planform, Row, Side};

/// Size of the picture; it is shown at about half of it.
const WIDTH: u32 = 1100;
const HALF_SPAN: f64 = 445.0;
const CENTRE: f64 = 590.0;
/// Height of the leading edge at the centre, and of the quarter-chord line.
const TOP: f64 = 64.0;
/// Chord over half span in the picture where the wing's own is not known.
const USUAL_CHORD: f64 = 0.45;
/// The rows at the tip lie no closer together than this part of their distance at the centre, so that lines stay apart.
const LEAST_CHORD: f64 = 0.55;
/// The wing is drawn deeper than it is by so much, so that the rows stay apart.
const DEEPER: f64 = 1.35;
/// Deviations smaller than this are drawn as level, mm.
const LEVEL_MM: f64 = 1.0;
/// Classes of the scale on each side of level.
const CLASSES: u8 = 4;
/// Half size of the marks.
const SMALLEST: f64 = 5.0;
const LARGEST: f64 = 13.0;
/// Most lines named in the picture.
const NAMED: usize = 8;

/// One line in the picture.
struct Mark<'a> {
    line: &'a LineVerdict,
    x: f64,
    y: f64,
    /// Half of its size.
    size: f64,
}

/// Plan view of the wing for one judged check, its nose upwards and the pilot's left at the left: the outline, and each line
/// that was read at its place along the span, in its row, with its deviation less the common offset. The rows are drawn one behind
/// the other at even distances, each with its name. A mark that points up is a longer line, one that points down a shorter one, a
/// dot level; size and colour grow with the deviation. A thick edge is a line outside its tolerance, a broken one a doubtful reading. The colours are a scale of equal steps in `OKLab` (Ottosson, "A perceptual color
/// space for image processing", 2020; from memory), blue for short and orange for long at the same lightness.
///
/// `planform` is what the check was judged with; without it the one that the model's figures allow, else an ellipse of
/// usual proportions. `None` when no line was read.
///
/// ```
/// use linedrift::{TrimSpec, report::wing_plan_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = &fleet.histories()[0];
/// let check = history.checks.last().ok_or("no check")?;
/// let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, check)?;
/// let svg = wing_plan_figure(&trim, fleet.line_set(history), None).ok_or("no line")?.standalone();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn wing_plan_figure(trim: &Trim, set: &LineSet, planform: Option<&Planform>) -> Option<Figure> {
    let own = planform.cloned().or_else(|| Planform::of_model(set.data()));
    let outline = Outline::of(own.as_ref());
    let lines: Vec<&LineVerdict> =
        trim.lines.iter().filter(|line| line.relative_mm.is_finite() && line.span.is_finite()).collect();
    if lines.is_empty() {
        return None;
    }
    let scale_mm = scale(&lines);
    let rows: Vec<Row> = Row::ALL.into_iter().filter(|row| lines.iter().any(|line| line.row == *row)).collect();
    let mut marks: Vec<Mark<'_>> = lines.iter().map(|line| mark(line, &rows, &outline, scale_mm)).collect();
    keep_apart(&mut marks);
    let mut body = String::new();
    outline.draw(&mut body);
    for row in &rows {
        outline.draw_row(&mut body, *row, &rows);
    }
    for mark in &marks {
        draw(&mut body, mark, scale_mm);
    }
    names(&mut body, &marks);
    let bottom = TOP + outline.root + 40.0;
    let open = lines.iter().any(|line| line.verdict.is_none_or(|verdict| verdict == Verdict::Undecided));
    legend(&mut body, bottom, scale_mm, open);
    let title = format!("Wing {}, check {}: deviation of each line, seen from above", trim.wing, trim.check);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few hundred")]
    let height = (bottom + 122.0) as u32;
    Some(Figure::drawn(title, description(trim, &marks), WIDTH, height, &body).wide())
}

/// The wing's outline: a straight quarter-chord line with the chord along it.
struct Outline<'a> {
    planform: Option<&'a Planform>,
    /// Chord at the centre, in the picture.
    root: f64,
}

impl<'a> Outline<'a> {
    fn of(planform: Option<&'a Planform>) -> Self {
        let own = planform.and_then(|known| Some(2.0 * known.root_chord_m() / known.span_m()?));
        let root = own.filter(|ratio| ratio.is_finite()).unwrap_or(USUAL_CHORD).clamp(0.3, 0.6) * DEEPER * HALF_SPAN;
        Self { planform, root }
    }

    /// Chord at a place along the half span.
    fn chord(&self, span: f64) -> f64 {
        let eta = span.clamp(0.0, 1.0);
        let part = match self.planform {
            Some(known) => known.chord_m(eta) / known.root_chord_m(),
            None => (1.0 - eta * eta).sqrt(),
        };
        part * self.root
    }

    /// Height of a place along the chord.
    fn y(&self, chord: f64, along: f64) -> f64 {
        TOP + self.root / 4.0 + chord * (along - 0.25)
    }

    fn draw(&self, body: &mut String) {
        let mut points = String::new();
        let steps = || (-24..=24_i32).map(|step| (f64::from(step) * std::f64::consts::PI / 48.0).sin());
        for span in steps() {
            let _ = write!(points, "{:.0},{:.0} ", x(span), self.y(self.chord(span.abs()), 0.0));
        }
        for span in steps().rev() {
            let _ = write!(points, "{:.0},{:.0} ", x(span), self.y(self.chord(span.abs()), 1.0));
        }
        let _ = writeln!(body, "<polygon class=\"f-wing\" points=\"{}\"/>", points.trim_end());
        let (from, to) = (self.y(self.root, 0.0), self.y(self.root, 1.0));
        let _ = writeln!(body, "<path class=\"s-grid\" d=\"M{CENTRE:.0} {from:.0}V{to:.0}\"/>");
        let [left, right] = [-1.0, 1.0].map(x);
        for (at, anchor, text) in [(left, "", "left"), (CENTRE, " m", "front"), (right, " e", "right")] {
            word(body, at, 40.0, anchor, text);
        }
    }

    /// Height of a row's lines at a place along the half span.
    fn row_y(&self, row: Row, rows: &[Row], span: f64) -> f64 {
        let place = rows.iter().position(|known| *known == row).unwrap_or(0) as f64;
        let chord = self.chord(span).max(LEAST_CHORD * self.root);
        self.y(chord, 0.04 + 0.92 * (place + 0.5) / rows.len().max(1) as f64)
    }

    /// A row's name beside the left tip, and a thin line where its marks stand.
    fn draw_row(&self, body: &mut String, row: Row, rows: &[Row]) {
        let mut points = String::new();
        for step in -12..=12_i32 {
            let span = f64::from(step) / 12.0;
            let _ = write!(points, "{:.0} {:.0} ", x(span), self.row_y(row, rows, span.abs()));
        }
        let (at, level) = (x(-1.0) - 24.0, self.row_y(row, rows, 1.0) + 7.0);
        let _ = writeln!(
            body,
            "<path class=\"s-grid\" d=\"M{}\"/>\n<text class=\"f-ink e\" x=\"{at:.0}\" y=\"{level:.0}\">{row}</text>",
            points.trim_end()
        );
    }
}

/// Place across the picture: −1 at the left tip, 1 at the right.
fn x(span: f64) -> f64 {
    CENTRE + HALF_SPAN * span
}

/// Top of the scale, a whole number of millimetres that four steps divide. Brakes are set at the handle and may be off by
/// much more than the rest: they have no say in it where there are other lines. Nor have doubtful readings.
fn scale(lines: &[&LineVerdict]) -> f64 {
    let most = |brakes: bool| {
        let counted = lines.iter().filter(|line| !line.doubted && (brakes || line.row != Row::Brake));
        counted.map(|line| line.relative_mm.abs()).reduce(f64::max)
    };
    let most = most(false).or_else(|| most(true)).unwrap_or(0.0);
    (most.clamp(8.0, 60.0) / f64::from(CLASSES)).ceil() * f64::from(CLASSES)
}

fn mark<'a>(line: &'a LineVerdict, rows: &[Row], outline: &Outline<'_>, scale_mm: f64) -> Mark<'a> {
    let span = line.span.clamp(0.0, 1.0);
    let side = if line.side == Side::Left { -1.0 } else { 1.0 };
    let part = (line.relative_mm.abs() / scale_mm).min(1.0);
    let size = if level(line) { SMALLEST } else { SMALLEST + 2.0 + part * (LARGEST - SMALLEST - 2.0) };
    Mark { line, x: x(side * span), y: outline.row_y(line.row, rows, span), size }
}

/// Shrinks marks that would cover their neighbours.
fn keep_apart(marks: &mut [Mark<'_>]) {
    let nearest: Vec<f64> = marks
        .iter()
        .enumerate()
        .map(|(at, mark)| {
            let others = marks.iter().enumerate().filter(|(other, _)| *other != at);
            others.map(|(_, other)| (other.x - mark.x).hypot(other.y - mark.y)).fold(f64::INFINITY, f64::min)
        })
        .collect();
    for (mark, nearest) in marks.iter_mut().zip(nearest) {
        mark.size = mark.size.min((0.47 * nearest).max(SMALLEST));
    }
}

fn level(line: &LineVerdict) -> bool {
    line.relative_mm.abs() < LEVEL_MM
}

/// Class of a deviation's colour: `s4` … `s1` short, `l0` level, `l1` … `l4` long.
fn colour(relative_mm: f64, scale_mm: f64) -> &'static str {
    let part = relative_mm.abs() / scale_mm;
    let step = (1..CLASSES).find(|step| part <= f64::from(*step) / f64::from(CLASSES)).unwrap_or(CLASSES);
    match (relative_mm.abs() < LEVEL_MM, relative_mm < 0.0, step) {
        (true, ..) => "l0",
        (_, true, 1) => "s1",
        (_, true, 2) => "s2",
        (_, true, 3) => "s3",
        (_, true, _) => "s4",
        (_, false, 1) => "l1",
        (_, false, 2) => "l2",
        (_, false, 3) => "l3",
        (_, false, _) => "l4",
    }
}

/// To a tenth, which is as far as the eye tells.
fn tenth(value: f64) -> f64 {
    (10.0 * value).round() / 10.0
}

/// A dot, or a triangle that points the way of the deviation; its element is left open.
fn shape(body: &mut String, [x, y]: [f64; 2], size: f64, relative_mm: f64, class: &str) {
    let _ = if relative_mm.abs() < LEVEL_MM {
        write!(body, "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"", tenth(x), tenth(y), tenth(size))
    } else {
        let up = if relative_mm > 0.0 { 1.0 } else { -1.0 };
        let [half, height, width] = [size, up * 1.8 * size, 2.0 * size].map(tenth);
        write!(body, "<path class=\"{class}\" d=\"M{} {}l-{half} {height}h{width}z\"", tenth(x), tenth(y - up * size))
    };
}

fn draw(body: &mut String, mark: &Mark<'_>, scale_mm: f64) {
    let line = mark.line;
    let edge = match line.verdict {
        Some(Verdict::Within) => "",
        Some(Verdict::Outside) => " out",
        Some(Verdict::Undecided) | None => " open",
    };
    let class = format!("mark{edge} {}", colour(line.relative_mm, scale_mm));
    shape(body, [mark.x, mark.y], mark.size, line.relative_mm, &class);
    let _ =
        writeln!(body, "><title>{}</title></{}>", escape(&words(line)), if level(line) { "circle" } else { "path" });
}

fn words(line: &LineVerdict) -> String {
    let verdict = match line.verdict {
        Some(Verdict::Within) => "",
        Some(Verdict::Outside) => ", outside",
        Some(Verdict::Undecided) => ", undecided",
        None => ", doubtful reading",
    };
    format!("{} {}: {} mm{verdict}", line.line, line.side, signed(line.relative_mm, 1))
}

/// Names of the worst lines outside, as long as they do not cover each other.
fn names(body: &mut String, marks: &[Mark<'_>]) {
    let mut outside: Vec<&Mark<'_>> = marks.iter().filter(|mark| mark.line.is_outside()).collect();
    let brake = |mark: &Mark<'_>| mark.line.row == Row::Brake;
    let size = |mark: &Mark<'_>| mark.line.relative_mm.abs();
    outside.sort_by(|a, b| brake(a).cmp(&brake(b)).then(size(b).total_cmp(&size(a))));
    let mut named: Vec<[f64; 2]> = Vec::new();
    let apart = |known: &[f64; 2], at: [f64; 2], factor: f64| {
        (known[0] - at[0]).abs() > factor * 70.0 || (known[1] - at[1]).abs() > factor * 30.0
    };
    for mark in outside {
        let at = [mark.x, mark.y - mark.size - 6.0];
        if named.len() < NAMED && named.iter().all(|known| apart(known, at, 1.0)) {
            // where letters are large against the picture, as on a phone, there is room for fewer
            let class = if named.iter().all(|known| apart(known, at, 1.7)) { "" } else { " dense" };
            let name: String = mark.line.line.chars().take(8).collect();
            let _ = writeln!(
                body,
                "<text class=\"f-outside halo m{class}\" x=\"{:.0}\" y=\"{:.0}\">{}</text>",
                at[0],
                at[1],
                escape(&name)
            );
            named.push(at);
        }
    }
}

/// The scale with its marks, and under it what the edges mean.
fn legend(body: &mut String, top: f64, scale_mm: f64, open: bool) {
    let step_mm = scale_mm / f64::from(CLASSES);
    let middle = top + 14.0;
    for place in -i32::from(CLASSES)..=i32::from(CLASSES) {
        // the middle of a class stands for it
        let value = if place == 0 { 0.0 } else { (f64::from(place) - 0.5 * f64::from(place.signum())) * step_mm };
        let size =
            if place == 0 { SMALLEST } else { SMALLEST + 2.0 + value.abs() / scale_mm * (LARGEST - SMALLEST - 2.0) };
        let at = 572.0 + 116.0 * f64::from(place);
        shape(body, [at, middle], size, value, &format!("mark {}", colour(value, scale_mm)));
        body.push_str("/>\n");
        word(body, at, middle + 40.0, if place % 2 == 0 { " m" } else { " m dense" }, &class_label(place, step_mm));
    }
    word(body, 42.0, middle + 8.0, " m", "mm");
    let below = middle + 86.0;
    let mut at = 72.0;
    for (edge, meaning) in [(" out", "outside tolerance"), ("", "within tolerance"), (" open", "doubtful")] {
        if edge != " open" || open {
            shape(body, [at, below - 7.0], 11.0, 1.0, &format!("mark{edge} l0"));
            body.push_str("/>\n");
            word(body, at + 22.0, below, "", meaning);
            at += 360.0;
        }
    }
}

fn word(body: &mut String, x: f64, y: f64, class: &str, text: &str) {
    let _ = writeln!(body, "<text class=\"f-muted{class}\" x=\"{x:.0}\" y=\"{y:.0}\">{}</text>", escape(text));
}

/// What the class covers, such as `-6…-4`; the outermost is open.
fn class_label(place: i32, step_mm: f64) -> String {
    let reach = f64::from(place.abs());
    let (inner, outer) = (((reach - 1.0) * step_mm).max(LEVEL_MM), reach * step_mm);
    match (place, place.unsigned_abs() == u32::from(CLASSES)) {
        (0, _) => format!("\u{b1}{}", number(LEVEL_MM, 0)),
        (..0, true) => format!("< {}", number(-inner, 0)),
        (_, true) => format!("> {}", number(inner, 0)),
        (..0, false) => format!("{}\u{2026}{}", number(-outer, 0), number(-inner, 0)),
        (_, false) => format!("{}\u{2026}{}", number(inner, 0), number(outer, 0)),
    }
}

fn description(trim: &Trim, marks: &[Mark<'_>]) -> String {
    let mut outside: Vec<&LineVerdict> =
        marks.iter().map(|mark| mark.line).filter(|line| line.is_outside()).collect();
    outside.sort_by(|a, b| b.relative_mm.abs().total_cmp(&a.relative_mm.abs()));
    let listed: Vec<String> = outside
        .iter()
        .take(12)
        .map(|line| format!("{} {} {} mm", line.line, line.side, signed(line.relative_mm, 1)))
        .collect();
    let more = if outside.len() > 12 { format!(" and {} more", outside.len() - 12) } else { String::new() };
    let list = if listed.is_empty() { String::new() } else { format!(" Outside: {}{more}.", listed.join(", ")) };
    let longer = marks.iter().filter(|mark| mark.line.relative_mm > 0.0 && !level(mark.line)).count();
    let shorter = marks.iter().filter(|mark| mark.line.relative_mm < 0.0 && !level(mark.line)).count();
    format!(
        "The wing from above, nose upwards, with the deviation of {} less the common offset: {longer} longer (pointing up), \
         {shorter} shorter (pointing down), the others level within {LEVEL_MM:.0} mm; {} outside tolerance, {} undecided.{list}",
        count(marks.len(), "line", "lines"),
        verdicts(trim, Verdict::Outside),
        verdicts(trim, Verdict::Undecided),
    )
}
