//! The brake fan, on its own.

use super::measured::Measured;
use super::{BrakeFan, BrakeLine};
use crate::check::Check;
use crate::wing::{LineSet, Row, Side};

/// The brake fan of each side that has readings. Without the brake setting only the shape of the fan is stated, since its
/// mean says nothing of what the handle gives back.
pub(super) fn brake_fans(set: &LineSet, check: &Check, measured: &Measured) -> Vec<BrakeFan> {
    let fan = |side: Side| {
        let mut members = measured.members(Row::Brake, &[side]);
        members.sort_by(|&a, &b| measured.lines[a].span.total_cmp(&measured.lines[b].span));
        if members.is_empty() {
            return None;
        }
        let mean = measured.mean(&members);
        let level = mean.value(measured);
        let name = |line: usize| set.lines().get(line).map(|line| line.name.clone());
        let lines = members.iter().map(|&at| &measured.lines[at]).filter_map(|found| {
            Some(BrakeLine { line: name(found.line)?, span: found.span, shape_mm: found.deviation_mm - level })
        });
        let setting_mm = check.brake_setting_mm;
        // without rows A to D there is no common offset to compare with
        let stated = setting_mm.and(measured.common_mm);
        Some(BrakeFan {
            side,
            setting_mm,
            mean_relative_mm: stated.map(|common| level - common),
            se_mm: stated.map(|_| mean.uncertainty(measured).standard),
            lines: lines.collect(),
        })
    };
    Side::BOTH.into_iter().filter_map(fan).collect()
}
