//! One panel of a chart: its frame, its scales and the marks in it.

use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{
    Cartesian2d, Circle, DrawingArea, DrawingAreaErrorKind, EmptyElement, IntoDrawingArea, PathElement, Polygon,
    SVGBackend, Text,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, ShapeStyle, TextStyle};

use super::figure::{Figure, Role};
use crate::report::ReportError;

/// The library writes font sizes divided by this; the style sheet sets them anyway.
const FONT: f64 = 22.0 * 1.24;

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

/// Where a piece of text sits on its point.
#[derive(Debug, Clone, Copy)]
pub(super) enum Anchor {
    /// The text begins at the point, its middle level with it.
    Right,
    /// The text ends at the point, its middle level with it.
    Left,
    /// The text hangs below the point.
    Below,
    /// The text stands above the point.
    Above,
    /// The text hangs below the point and ends there.
    BelowLeft,
    /// The text stands above the point and ends there.
    AboveLeft,
    /// The text stands above the point and begins there.
    AboveRight,
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// Marks go in through here, in the units of the panel's scales. Drawing on after a failure does nothing.
pub(super) struct Plot<'a> {
    area: Area<'a>,
    frame: Frame,
    failure: Option<String>,
}

impl Plot<'_> {
    /// Draws a panel: `marks` puts the marks in.
    pub(super) fn figure(
        title: &str,
        description: &str,
        frame: &Frame,
        marks: impl FnOnce(&mut Plot<'_>),
    ) -> Result<Figure, ReportError> {
        let mut raw = String::new();
        let failure = {
            let backend = SVGBackend::with_string(&mut raw, (frame.width, frame.height));
            let pixels = |at: u32| i32::try_from(at).unwrap_or(i32::MAX);
            let across = pixels(frame.left)..pixels(frame.width.saturating_sub(frame.right));
            let up = pixels(frame.height.saturating_sub(frame.bottom))..pixels(frame.top);
            let spec = Cartesian2d::<RangedCoordf64, RangedCoordf64>::new(
                frame.x[0]..frame.x[1],
                frame.y[0]..frame.y[1],
                (across, up),
            );
            let area = backend.into_drawing_area().apply_coord_spec(spec);
            let mut plot = Plot { area, frame: frame.clone(), failure: None };
            marks(&mut plot);
            let presented = plot.area.present();
            plot.note(presented);
            plot.failure
        };
        match failure {
            Some(reason) => Err(ReportError::Drawing { figure: title.to_owned(), reason }),
            None => Ok(Figure::from_raw(title.to_owned(), description.to_owned(), frame.width, frame.height, &raw)),
        }
    }

    fn note<E: std::error::Error + Send + Sync>(&mut self, outcome: Result<(), DrawingAreaErrorKind<E>>) {
        if let (None, Err(error)) = (&self.failure, outcome) {
            self.failure = Some(error.to_string());
        }
    }

    /// A line through the points.
    pub(super) fn path(&mut self, points: &[[f64; 2]], role: Role) {
        let points: Vec<(f64, f64)> = points.iter().map(|[x, y]| (*x, *y)).collect();
        let drawn = self.area.draw(&PathElement::new(points, role.colour()));
        self.note(drawn);
    }

    /// A filled shape.
    pub(super) fn polygon(&mut self, points: &[[f64; 2]], role: Role) {
        let points: Vec<(f64, f64)> = points.iter().map(|[x, y]| (*x, *y)).collect();
        let drawn = self.area.draw(&Polygon::new(points, role.colour()));
        self.note(drawn);
    }

    /// A filled rectangle from one corner to the other.
    pub(super) fn rectangle(&mut self, from: [f64; 2], to: [f64; 2], role: Role) {
        self.polygon(&[from, [to[0], from[1]], to, [from[0], to[1]]], role);
    }

    /// A filled dot.
    pub(super) fn dot(&mut self, [x, y]: [f64; 2], radius: i32, role: Role) {
        let drawn = self.area.draw(&Circle::new((x, y), radius, ShapeStyle::from(role.colour()).filled()));
        self.note(drawn);
    }

    /// An open ring.
    pub(super) fn ring(&mut self, [x, y]: [f64; 2], radius: i32, role: Role) {
        let drawn = self.area.draw(&Circle::new((x, y), radius, role.colour().stroke_width(1)));
        self.note(drawn);
    }

    /// A cross over a point.
    pub(super) fn cross(&mut self, [x, y]: [f64; 2], reach: i32, role: Role) {
        let style = ShapeStyle::from(role.colour());
        let strokes = EmptyElement::at((x, y))
            + PathElement::new(vec![(-reach, -reach), (reach, reach)], style)
            + PathElement::new(vec![(-reach, reach), (reach, -reach)], style);
        let drawn = self.area.draw(&strokes);
        self.note(drawn);
    }

    /// An arrowhead at a point: its tip there, its two strokes back from it. `way` is 1 for one that points to the right, −1
    /// to the left.
    pub(super) fn arrowhead(&mut self, [x, y]: [f64; 2], way: i32, role: Role) {
        let style = ShapeStyle::from(role.colour());
        let strokes = EmptyElement::at((x, y)) + PathElement::new(vec![(-9 * way, -7), (0, 0), (-9 * way, 7)], style);
        let drawn = self.area.draw(&strokes);
        self.note(drawn);
    }

    /// A piece of text.
    pub(super) fn text(&mut self, text: &str, [x, y]: [f64; 2], anchor: Anchor, role: Role) {
        let (h, v, shift) = match anchor {
            Anchor::Right => (HPos::Left, VPos::Center, (8, 0)),
            Anchor::Left => (HPos::Right, VPos::Center, (-8, 0)),
            Anchor::Below => (HPos::Center, VPos::Top, (0, 12)),
            Anchor::Above => (HPos::Center, VPos::Bottom, (0, -14)),
            Anchor::BelowLeft => (HPos::Right, VPos::Top, (10, 12)),
            Anchor::AboveLeft => (HPos::Right, VPos::Bottom, (0, -8)),
            Anchor::AboveRight => (HPos::Left, VPos::Bottom, (0, -8)),
        };
        let colour = role.colour();
        let style = TextStyle::from(("sans-serif", FONT).into_font()).color(&colour).pos(Pos::new(h, v));
        let drawn = self.area.draw(&(EmptyElement::at((x, y)) + Text::new(text.to_owned(), shift, style)));
        self.note(drawn);
    }

    /// Horizontal grid lines with their figures at the left.
    pub(super) fn levels(&mut self, ticks: &[Tick]) {
        let [from, to] = self.frame.x;
        for tick in ticks {
            self.path(&[[from, tick.at], [to, tick.at]], if tick.at == 0.0 { Role::Zero } else { Role::Grid });
            self.text(&tick.label, [from, tick.at], Anchor::Left, Role::Muted);
        }
    }

    /// Figures under the panel, each with a short grid line through it.
    pub(super) fn columns(&mut self, ticks: &[Tick]) {
        let [from, to] = self.frame.y;
        for tick in ticks {
            self.path(&[[tick.at, from], [tick.at, to]], Role::Grid);
            if !tick.label.is_empty() {
                self.text(&tick.label, [tick.at, from], Anchor::Below, Role::Muted);
            }
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
