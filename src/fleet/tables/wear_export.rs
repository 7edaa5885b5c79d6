//! What others need of a wear fit: model frame, design, effects, covariance, contrasts, curves, draws; and a study of power.

use super::{CHECK, HOURS, LINE, MODEL, ROW, ROWS, SIDE, SIDES, WING, listing, within};
use crate::simulate::Power;
use crate::wear::{
    ComparedModel, FleetInfluence, ProfileCurve, ResidualRow, TermDraws, TermRow, WearContrasts, WearFit, WearFrame,
};

const ITS: &str = "see `unit`";
const SHAPES: &str = "`linear`, `log`, `saturating`";
const FRAME_ROW: &str = "row of `wear_frame`, from 0";

listing! {
    /// One row per contrast of a wear fit.
    CONTRASTS = "wear_contrasts", "contrast";
    pub fn contrasts[](found: &WearContrasts) for (row, unit, all) in
        found.rows().iter().map(|row| (&row.row, &row.unit, row.row.simultaneous));
    text "contrast", "", "the contrast as it was asked" => &row.contrast;
    text "unit", "", "`mm`, `mm/m` (in the first 100 h), `mm/m per COVARIATE`" => unit.as_str();
    number "estimate", ITS, "estimate" => row.estimate;
    number "se", ITS, "standard error" => row.se;
    number "df", "", "Satterthwaite degrees of freedom; a million stands for normal" => row.df;
    number "lower", ITS, "lower end of the 95 % interval, for this contrast alone" => row.lower;
    number "upper", ITS, "upper end of it" => row.upper;
    number "p", "0 … 1", "two-sided p-value of zero, for this contrast alone" => row.p;
    whole "family", "", "contrasts that hold together; empty: asked alone" => all.map(|all| all.family);
    number "simultaneous_lower", ITS, "lower end of the interval that holds with the others" => all.map(|all| all.lower);
    number "simultaneous_upper", ITS, "upper end of it" => all.map(|all| all.upper);
    number "simultaneous_p", "0 … 1", "p-value adjusted for all of them" => all.and_then(|all| all.p);
}

listing! {
    /// One row per model compared with the first.
    COMPARED = "wear_compared", "model compared, the first being the one fitted";
    pub fn compared[](models: &[ComparedModel]) for model in models;
    text "change", "", "how it differs from the first" => &model.change;
    text "shape", SHAPES, "time shape" => model.shape.as_str();
    number "scale_h", "h", "its scale" => model.scale_h;
    whole "parameters", "", "parameters" => model.parameters;
    number "deviance", "", "−2 log likelihood by ML" => model.deviance;
    number "aic", "", "Akaike's criterion" => model.aic;
    number "bic", "", "Schwarz's criterion, wings as the sample size" => model.bic;
    number "weight", "0 … 1", "Akaike weight" => model.weight;
    number "statistic", "", "likelihood-ratio statistic against the first, where nested" => model.test.as_ref().map(|test| test.statistic);
    whole "freedom", "", "its degrees of freedom" => model.test.as_ref().map(|test| test.freedom);
    number "p", "0 … 1", "its p-value" => model.test.as_ref().map(|test| test.p_value);
}

listing! {
    /// One row per pair of fixed terms: their covariance.
    COVARIANCE = "wear_covariance", "pair of fixed terms";
    pub fn covariance[](fit: &WearFit) for (term, other, covariance) in pairs(fit);
    text "term", "", "fixed term" => &term.term;
    text "other", "", "fixed term" => &other.term;
    number "covariance", "product of the units", "covariance of the two estimates" => *covariance;
    number "correlation", "−1 … 1", "their correlation" => covariance / (term.se * other.se);
}

fn pairs(fit: &WearFit) -> impl Iterator<Item = (&TermRow, &TermRow, f64)> {
    let covariance = fit.covariance();
    let all = fit.terms().iter().flat_map(|term| fit.terms().iter().map(move |other| (term, other)));
    let each: Vec<f64> = covariance.iter().copied().collect();
    all.zip(each).map(|((term, other), covariance)| (term, other, covariance))
}

listing! {
    /// One row per line and check of the model frame.
    FRAME = "wear_frame", "line read at a check: the model frame";
    pub fn frame[](frame: &WearFrame) for (at, row) in frame.rows().iter().enumerate();
    whole "frame_row", "", FRAME_ROW => *at;
    text "wing", "", WING => &row.wing;
    text "model", "", MODEL => &row.model;
    text "check", "", CHECK => &row.check;
    text "side", SIDES, SIDE => row.side;
    text "line", "", LINE => &row.line;
    text "row", ROWS, ROW => row.row;
    whole "restart", "0, 1, …", "0 as built; each adjustment of the line adds one" => row.restart;
    number "hours_h", "h", HOURS => row.hours_h;
    number "g", "", "time shape at those hours" => row.g;
    number "length_g_m", "m", "length times time shape over the path: what a wing's rate multiplies" => row.length_g_m;
    whole "readings", "", "readings that the row is the mean of" => row.readings;
    number "deviation_mm", "mm", "mean deviation, corrected for load and temperature: the response" => row.deviation_mm;
    number "sd_mm", "mm", "standard deviation of the readings about it; empty for one" => row.sd_mm;
    number "fixed_mm", "mm", "fixed part" => row.fixed_mm;
    number "wing_mm", "mm", "fixed part and the effects of wing and check" => row.wing_mm;
    number "fitted_mm", "mm", "the same and the line's own offset" => row.fitted_mm;
    number "residual_fixed_mm", "mm", "deviation less the fixed part" => row.deviation_mm - row.fixed_mm;
    number "residual_wing_mm", "mm", "deviation less `wing_mm`" => row.deviation_mm - row.wing_mm;
    number "residual_mm", "mm", "deviation less `fitted_mm`" => row.deviation_mm - row.fitted_mm;
}

listing! {
    /// One row per entry of the fixed part's design that is not zero.
    DESIGN = "wear_design", "entry of the fixed part's design that is not zero";
    pub fn design[](frame: &WearFrame, terms: &[TermRow]) for entry in frame.design();
    whole "frame_row", "", FRAME_ROW => entry.frame_row;
    text "term", "", "fixed term" => terms.get(entry.term).map(|term| &term.term);
    number "value", "m, or 1 for offsets", "what the term's coefficient multiplies" => entry.value;
}

listing! {
    /// One row per random effect.
    EFFECTS = "wear_effects", "random effect";
    pub fn effects[](frame: &WearFrame) for row in frame.effects();
    text "group", "`wing`, `wing:row`, `check`, `line`, `restart`, …", "random term; `restart`: a free offset" => &row.group;
    text "effect", "`offset`, `rate`", "which effect: mm, or mm/m in the first 100 h" => &row.effect;
    text "wing", "", WING => &row.wing;
    text "level", "", "check, row, or side, line and restart; empty for a wing" => (!row.level.is_empty()).then_some(&row.level);
    number "value", "see `effect`", "conditional mean" => row.value;
    number "sd", "see `effect`", "conditional standard deviation, fixed effects taken as known" => row.sd;
}

listing! {
    /// One row per effect and reading: what is left at each level, in its own unit and in standard deviations.
    RESIDUALS = "wear_residuals", "effect or reading and what is left of it";
    pub fn residuals[](rows: &[ResidualRow]) for row in rows;
    text "level", "`wing_offset` … `reading`", "level of the model" => row.level.name();
    text "wing", "", WING => &row.wing;
    text "check", "", "check id, for checks and readings" => row.check.as_deref();
    text "side", SIDES, "side, for lines and readings" => row.side;
    text "line", "", "line name, for lines and readings" => row.line.as_deref();
    text "row", ROWS, ROW => row.row;
    number "value", "mm, or mm/m", "value in the unit of the level" => row.value;
    number "in_sd", "", "the same over the level's standard deviation" => row.in_sd;
}

listing! {
    /// One row per wing: what the fit owes to it.
    INFLUENCE = "wear_influence", "wing left out in turn";
    pub fn influence[](found: &FleetInfluence) for row in &found.wings;
    text "wing", "", WING => &row.wing;
    whole "readings", "", "its readings" => row.readings;
    number "distance", "", "Cook's distance; empty where a term cannot be estimated without it" => row.distance;
    text "term", "", "term that it moves most" => row.term.as_deref();
    number "shift_se", "", "by how many standard errors" => row.shift_se;
    number "deviance", "", "−2 log density of its readings given all other wings" => row.deviance;
}

listing! {
    /// One row per point of a profile: how much the criterion rises when a parameter is held there.
    PROFILES = "wear_profiles", "point of a profile";
    pub fn profiles[](curves: &[ProfileCurve]) for (curve, point) in within(curves, |curve| &curve.points);
    text "parameter", "", "term, `sd:GROUP:EFFECT` or `correlation:wing`" => curve.parameter.as_str();
    number "estimate", "", "estimate of the fit" => curve.estimate;
    number "value", "", "value at which it is held" => point.value;
    number "rise", "", "rise of the criterion, minimised over everything else" => point.rise;
    number "root", "", "signed root of the rise: a straight line where Wald intervals are right" => point.rise.sqrt().copysign(point.value - curve.estimate);
}

listing! {
    /// One row per draw and fixed term.
    DRAWS = "wear_draws", "draw and fixed term";
    pub fn draws[](draws: &TermDraws) for (draw, term) in
        (0..draws.values.nrows()).flat_map(|draw| (0..draws.terms.len()).map(move |term| (draw, term)));
    whole "draw", "0, 1, …", "number of the draw" => *draw;
    text "shape", SHAPES, "time shape of the draw" => draws.shapes[*draw].name();
    number "scale_h", "h", "its scale" => draws.shapes[*draw].scale_h();
    text "term", "", "fixed term" => draws.terms[*term].as_str();
    number "value", "", "its value in the draw" => draws.values[[*draw, *term]];
}

listing! {
    /// One row per design of a power study.
    POWER = "power", "design of a power study";
    pub fn power[](power: &Power) for row in power.rows();
    text "contrast", "", "the question" => power.contrast();
    text "unit", "", "its unit" => power.unit();
    number "truth", ITS, "what is true of it in the invented fleets" => power.truth();
    whole "wings", "", "wings" => row.wings;
    whole "checks", "", "checks of each wing" => row.checks;
    whole "repeats", "", "readings of each line at a check" => row.repeats;
    number "power", "0 … 1", "share of the fleets whose interval leaves out zero" => row.power;
    number "power_lower", "0 … 1", "lower end of the 95 % interval of that share" => row.power_lower;
    number "power_upper", "0 … 1", "upper end of it" => row.power_upper;
    number "half_width", ITS, "mean half-width of the interval" => row.half_width;
    number "coverage", "0 … 1", "share of the intervals that hold the truth" => row.coverage;
    number "bias", ITS, "mean estimate less the truth" => row.bias;
    whole "fleets", "", "fleets that could be fitted and asked" => row.fleets;
}
