//! One panel of a chart: its frame, its scales and the marks in it, written as SVG.

use std::fmt::Write as _;

use super::figure::{Figure, Role};
use crate::report::{ReportError, escape};

/// Size, margins and scales of a panel. Sizes are in half pixels of a panel shown at its natural width.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) left: u32,
    pub(super) right: u32,
    pub(super) top: u32,
    pub(super) bottom: u32,
    pub(super) x: [f64; 2],
    pub(super) y: [f64; 2],
}

impl Frame {
    /// A point of the scales in the drawing, in whole units.
    fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let part = |at: f64, [from, to]: [f64; 2]| (at - from) / (to - from);
        let (left, right) = (f64::from(self.left), f64::from(self.width) - f64::from(self.right));
        let (top, bottom) = (f64::from(self.top), f64::from(self.height) - f64::from(self.bottom));
        // a sum with zero turns minus zero into zero
        [left + (right - left) * part(x, self.x), bottom - (bottom - top) * part(y, self.y)]
            .map(|at| at.round() + 0.0)
    }

    fn is_drawable(&self) -> bool {
        [self.x, self.y].iter().all(|[from, to]| from.is_finite() && to.is_finite() && (to - from).abs() > 0.0)
    }
}

/// Where a piece of text sits on its point.
#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    /// The text begins at the point, its middle level with it.
    Right,
    /// The text ends at the point, its middle level with it.
    Left,
    /// The text hangs below the point.
    Below,
    /// The text is above the point.
    Above,
    /// The text hangs below the point and ends there.
    BelowLeft,
    /// The text hangs below the point and begins there.
    BelowRight,
    /// The text is above the point and ends there.
    AboveLeft,
    /// The text is above the point and begins there.
    AboveRight,
}

impl Anchor {
    /// How far the text is moved from its point, and the class that says which part of it lies there.
    const fn shift(self) -> (f64, f64, &'static str) {
        match self {
            Anchor::Right => (8.0, 7.0, ""),
            Anchor::Left => (-8.0, 7.0, " e"),
            Anchor::Below => (0.0, 29.0, " m"),
            Anchor::Above => (0.0, -20.0, " m"),
            Anchor::BelowLeft => (10.0, 29.0, " e"),
            Anchor::BelowRight => (-10.0, 29.0, ""),
            Anchor::AboveLeft => (0.0, -14.0, " e"),
            Anchor::AboveRight => (0.0, -14.0, ""),
        }
    }
}

/// Marks go in through here, in the units of the panel's scales. Marks of one kind that follow each other share one element.
pub(super) struct Plot<'a> {
    frame: &'a Frame,
    body: String,
    /// Class of the path that the body ends in, while it is open.
    open: String,
}

impl Plot<'_> {
    /// Draws a panel: `marks` puts the marks in.
    pub(super) fn figure(
        title: &str,
        description: &str,
        frame: &Frame,
        marks: impl FnOnce(&mut Plot<'_>),
    ) -> Result<Figure, ReportError> {
        if !frame.is_drawable() {
            let reason = format!("its scales are {:?} and {:?}, expected two finite ends each", frame.x, frame.y);
            return Err(ReportError::Drawing { figure: title.to_owned(), reason });
        }
        let mut plot = Plot { frame, body: String::new(), open: String::new() };
        marks(&mut plot);
        plot.close();
        Ok(Figure::drawn(title.to_owned(), description.to_owned(), frame.width, frame.height, &plot.body))
    }

    fn close(&mut self) {
        if !self.open.is_empty() {
            self.body.push_str("\"/>\n");
            self.open.clear();
        }
    }

    /// Adds to the path of that class.
    fn draw(&mut self, class: &str, path: &str) {
        if self.open != class {
            self.close();
            // writing to a string does not fail
            let _ = write!(self.body, "<path class=\"{class}\" d=\"");
            class.clone_into(&mut self.open);
        }
        self.body.push_str(path);
    }

    fn points(&self, points: &[[f64; 2]]) -> String {
        let places = points.iter().filter(|[x, y]| x.is_finite() && y.is_finite());
        let mut path = String::new();
        let mut last = [f64::NAN; 2];
        for [x, y] in places.map(|point| self.frame.place(*point)) {
            let same = |at: f64, last: f64| at.total_cmp(&last).is_eq();
            let _ = match (path.is_empty(), same(x, last[0]), same(y, last[1])) {
                (true, ..) => write!(path, "M{x} {y}"),
                (_, true, true) => Ok(()),
                (_, true, _) => write!(path, "V{y}"),
                (_, _, true) => write!(path, "H{x}"),
                _ => write!(path, "L{x} {y}"),
            };
            last = [x, y];
        }
        path
    }

    /// A line through the points.
    pub(super) fn path(&mut self, points: &[[f64; 2]], role: Role) {
        self.draw(&format!("s-{}", role.class()), &self.points(points));
    }

    /// A filled shape.
    pub(super) fn polygon(&mut self, points: &[[f64; 2]], role: Role) {
        self.draw(&format!("f-{}", role.class()), &format!("{}z", self.points(points)));
    }

    /// A filled rectangle from one corner to the other.
    pub(super) fn rectangle(&mut self, from: [f64; 2], to: [f64; 2], role: Role) {
        self.polygon(&[from, [to[0], from[1]], to, [from[0], to[1]]], role);
    }

    /// A mark on a point; a point that is not finite has none.
    fn mark(&mut self, at: [f64; 2], class: &str, path: impl FnOnce([f64; 2]) -> String) {
        let place = self.frame.place(at);
        if place.iter().all(|at| at.is_finite()) {
            self.draw(class, &path(place));
        }
    }

    /// A filled dot: a line of no length with round ends.
    pub(super) fn dot(&mut self, at: [f64; 2], role: Role) {
        self.mark(at, &format!("s-{} dot", role.class()), |[x, y]| format!("M{x} {y}h.1"));
    }

    /// An open ring.
    pub(super) fn ring(&mut self, at: [f64; 2], radius: u8, role: Role) {
        let (r, d) = (f64::from(radius), 2.0 * f64::from(radius));
        self.mark(at, &format!("s-{}", role.class()), |[x, y]| {
            format!("M{} {y}a{r} {r} 0 1 0 {d} 0 {r} {r} 0 1 0-{d} 0", x - r)
        });
    }

    /// A cross over a point.
    pub(super) fn cross(&mut self, at: [f64; 2], role: Role) {
        self.mark(at, &format!("s-{}", role.class()), |[x, y]| format!("M{} {}l16 16m0-16l-16 16", x - 8.0, y - 8.0));
    }

    /// An arrowhead at a point: its tip there, its two strokes back from it. `way` is 1 for one that points to the right, −1
    /// to the left.
    pub(super) fn arrowhead(&mut self, at: [f64; 2], way: f64, role: Role) {
        self.mark(at, &format!("s-{}", role.class()), |[x, y]| {
            let back = x - 9.0 * way;
            format!("M{back} {}L{x} {y}L{back} {}", y - 7.0, y + 7.0)
        });
    }

    /// A piece of text.
    pub(super) fn text(&mut self, text: &str, at: [f64; 2], anchor: Anchor, role: Role) {
        let [x, y] = self.frame.place(at);
        if !x.is_finite() || !y.is_finite() {
            return;
        }
        self.close();
        let (across, down, end) = anchor.shift();
        let _ = writeln!(
            self.body,
            "<text class=\"f-{}{end}\" x=\"{}\" y=\"{}\">{}</text>",
            role.class(),
            x + across,
            y + down,
            escape(text)
        );
    }

    /// Horizontal grid lines with their figures at the left.
    pub(super) fn levels(&mut self, ticks: &[Tick]) {
        let [from, to] = self.frame.x;
        for tick in ticks {
            self.path(&[[from, tick.at], [to, tick.at]], if tick.at == 0.0 { Role::Zero } else { Role::Grid });
        }
        for tick in ticks {
            self.text(&tick.label, [from, tick.at], Anchor::Left, Role::Muted);
        }
    }

    /// Vertical grid lines with their figures below.
    pub(super) fn columns(&mut self, ticks: &[Tick]) {
        let [from, to] = self.frame.y;
        for tick in ticks {
            self.path(&[[tick.at, from], [tick.at, to]], Role::Grid);
        }
        for tick in ticks.iter().filter(|tick| !tick.label.is_empty()) {
            self.text(&tick.label, [tick.at, from], Anchor::Below, Role::Muted);
        }
    }
}

/// One labelled place on a scale.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) at: f64,
    pub(super) label: String,
}

/// About `wanted` round places within the range, labelled with as many decimals as they need.
pub(super) fn round_ticks(range: [f64; 2], wanted: u32) -> Vec<Tick> {
    ticks(range, wanted, 0.0)
}

/// The same for what is counted: no place between two whole numbers.
pub(super) fn whole_ticks(range: [f64; 2], wanted: u32) -> Vec<Tick> {
    ticks(range, wanted, 1.0)
}

fn ticks([low, high]: [f64; 2], wanted: u32, least_step: f64) -> Vec<Tick> {
    let span = high - low;
    if !span.is_finite() || span <= 0.0 || wanted == 0 {
        return Vec::new();
    }
    let rough = span / f64::from(wanted);
    let magnitude = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * magnitude)
        .find(|step| *step >= rough * 0.999)
        .unwrap_or(10.0 * magnitude)
        .max(least_step);
    let decimals = if step >= 1.0 {
        0
    } else if step >= 0.1 {
        1
    } else {
        2
    };
    let mut at = (low / step).ceil();
    let mut ticks = Vec::new();
    while at * step <= high + step * 1e-9 && ticks.len() < 50 {
        // a sum with zero turns minus zero into zero
        ticks.push(Tick { at: at * step + 0.0, label: crate::report::words::number(at * step + 0.0, decimals) });
        at += 1.0;
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let ticks = round_ticks([-13.0, 13.0], 4);
        let at: Vec<f64> = ticks.iter().map(|tick| tick.at).collect();
        assert_eq!(at, [-10.0, 0.0, 10.0]);
        assert_eq!(ticks[0].label, "\u{2212}10");
        assert_eq!(ticks[1].label, "0");
        let fine: Vec<String> = round_ticks([0.0, 0.5], 5).into_iter().map(|tick| tick.label).collect();
        assert_eq!(fine, ["0.0", "0.1", "0.2", "0.3", "0.4", "0.5"]);
    }

    #[test]
    fn counts_have_no_fractions() {
        let labels =
            |high: f64| -> Vec<String> { whole_ticks([0.0, high], 4).into_iter().map(|tick| tick.label).collect() };
        assert_eq!(labels(1.2), ["0", "1"]);
        assert_eq!(labels(2.4), ["0", "1", "2"]);
        assert_eq!(labels(24.0), ["0", "10", "20"]);
    }

    #[test]
    fn an_empty_range_has_no_ticks() {
        assert!(round_ticks([1.0, 1.0], 4).is_empty());
        assert!(round_ticks([0.0, f64::NAN], 4).is_empty());
    }
}
