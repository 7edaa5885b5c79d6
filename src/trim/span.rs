//! Deviations as functions of the span, and the weight of each span station.

use std::f64::consts::{FRAC_PI_2, PI};

use super::measured::MeasuredLine;

/// Stations of one half wing with the weight of their local incidence in the lift; weights sum to 1.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SpanWeights {
    pub(super) stations: Vec<Station>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Station {
    /// Position along the half span, 0 … 1.
    pub(super) span: f64,
    /// Weight.
    pub(super) weight: f64,
}

impl SpanWeights {
    /// The weight of an elliptic wing, `(4/π)√(1 − η²)` over the half span, as a sum over `η = cos φ` at equal steps of φ.
    pub(super) fn elliptic(stations: usize) -> Self {
        let n = stations.max(1);
        let phi = |j: usize| FRAC_PI_2 * (j as f64 + 0.5) / n as f64;
        Self::normalised((0..n).map(|j| Station { span: phi(j).cos(), weight: 4.0 / PI * phi(j).sin().powi(2) }))
    }

    pub(super) fn normalised(stations: impl Iterator<Item = Station>) -> Self {
        let mut stations: Vec<Station> = stations.collect();
        let sum: f64 = stations.iter().map(|station| station.weight).sum();
        for station in &mut stations {
            station.weight /= sum;
        }
        Self { stations }
    }
}

/// One row on one side as a function of span: linear between its lines, held constant beyond the first and the last.
#[derive(Debug, Clone)]
pub(super) struct RowCurve {
    nodes: Vec<Node>,
    /// Chord positions at the nodes, where the row has any.
    chords: Option<Vec<f64>>,
}

#[derive(Debug, Clone)]
struct Node {
    span: f64,
    /// Indices of the measured lines at this span.
    lines: Vec<usize>,
}

/// A line's share in a curve's value.
#[derive(Debug, Clone, Copy)]
pub(super) struct Share {
    pub(super) line: usize,
    pub(super) coefficient: f64,
}

/// Nodes around a span position and how far between them it lies.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bracket {
    inner: usize,
    outer: usize,
    t: f64,
}

impl RowCurve {
    /// The curve through the given measured lines (indices into `all`); `None` without any.
    pub(super) fn through(all: &[MeasuredLine], members: &[usize]) -> Option<Self> {
        let mut order: Vec<usize> = members.to_vec();
        order.sort_by(|&a, &b| all[a].span.total_cmp(&all[b].span).then(a.cmp(&b)));
        let mut nodes: Vec<Node> = Vec::new();
        for line in order {
            match nodes.last_mut() {
                Some(last) if last.span.total_cmp(&all[line].span).is_eq() => last.lines.push(line),
                _ => nodes.push(Node { span: all[line].span, lines: vec![line] }),
            }
        }
        let known: Vec<f64> = members.iter().filter_map(|&line| all[line].chord).collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        let chords = (!known.is_empty()).then(|| {
            let at = |node: &Node| {
                let sum: f64 = node.lines.iter().map(|&line| all[line].chord.unwrap_or(mean)).sum();
                sum / node.lines.len() as f64
            };
            nodes.iter().map(at).collect()
        });
        (!nodes.is_empty()).then_some(Self { nodes, chords })
    }

    /// Nodes around a span position and how far between them it lies.
    pub(super) fn bracket(&self, span: f64) -> Bracket {
        let after = self.nodes.partition_point(|node| node.span <= span);
        if after == 0 {
            return Bracket { inner: 0, outer: 0, t: 0.0 };
        }
        if after == self.nodes.len() {
            return Bracket { inner: after - 1, outer: after - 1, t: 0.0 };
        }
        let (a, b) = (self.nodes[after - 1].span, self.nodes[after].span);
        Bracket { inner: after - 1, outer: after, t: (span - a) / (b - a) }
    }

    /// Calls `take` with each line's share in the curve's value at a span position; the shares sum to 1.
    pub(super) fn shares(&self, span: f64, take: impl FnMut(Share)) {
        self.shares_at(self.bracket(span), take);
    }

    /// The same at a place already found.
    pub(super) fn shares_at(&self, Bracket { inner, outer, t }: Bracket, mut take: impl FnMut(Share)) {
        for (node, weight) in [(inner, 1.0 - t), (outer, t)] {
            let lines = &self.nodes[node].lines;
            if weight != 0.0 {
                for &line in lines {
                    take(Share { line, coefficient: weight / lines.len() as f64 });
                }
            }
        }
    }

    /// Chord position of the row at a span position.
    pub(super) fn chord(&self, span: f64) -> Option<f64> {
        self.chord_at(self.bracket(span))
    }

    /// The same at a place already found.
    pub(super) fn chord_at(&self, Bracket { inner, outer, t }: Bracket) -> Option<f64> {
        let chords = self.chords.as_ref()?;
        Some(chords[inner] + t * (chords[outer] - chords[inner]))
    }
}
