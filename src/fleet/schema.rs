//! The tables of a fleet folder and their columns.

/// One table: its name, the columns it must have and those it may have.
#[derive(Debug, Clone, Copy)]
pub(super) struct TableSchema {
    pub(super) name: &'static str,
    pub(super) required: &'static [&'static str],
    pub(super) optional: &'static [&'static str],
}

pub(super) const LINES: TableSchema = TableSchema {
    name: "lines",
    required: &["model", "line", "row", "rank", "nominal_mm"],
    optional: &["span", "chord", "main", "material", "tolerance_mm", "side", "table_version"],
};
pub(super) const SEGMENTS: TableSchema = TableSchema {
    name: "segments",
    required: &["model", "segment", "parent", "material", "length_mm"],
    optional: &["diameter_mm", "can_loop"],
};
pub(super) const ROWS: TableSchema =
    TableSchema { name: "rows", required: &["model", "row"], optional: &["chord", "riser_mm"] };
pub(super) const MODELS: TableSchema = TableSchema {
    name: "models",
    required: &["model"],
    optional: &[
        "span_m",
        "area_m2",
        "root_chord_m",
        "trim_speed_kmh",
        "glide",
        "interval_h",
        "interval_months",
        "inspection_h",
        "inspection_months",
    ],
};
pub(super) const WINGS: TableSchema = TableSchema {
    name: "wings",
    required: &["wing", "model"],
    optional: &[
        "mass_kg",
        "first_flight",
        "hours_per_year",
        "interval_h",
        "interval_months",
        "table_version",
        "use",
        "ground_share",
        "inspection_h",
        "inspection_months",
        "inspected",
        "inspected_hours",
        "serial_number",
        "owner",
    ],
};
pub(super) const CHECKS: TableSchema = TableSchema {
    name: "checks",
    required: &["check", "wing", "date", "hours"],
    optional: &["stage", "load_n", "datum_mm", "temperature_c", "condition", "brake_setting_mm", "confirmed"],
};
pub(super) const READINGS: TableSchema = TableSchema {
    name: "readings",
    required: &["check", "side", "line", "reading_mm"],
    optional: &["repeat", "operator"],
};
pub(super) const RISERS: TableSchema =
    TableSchema { name: "risers", required: &["check", "side", "row"], optional: &["datum_mm", "riser_mm"] };
pub(super) const ACTIONS: TableSchema = TableSchema {
    name: "actions",
    required: &["wing", "date", "hours", "side", "segment", "action", "change_mm"],
    optional: &["turns", "check"],
};
pub(super) const FITTINGS: TableSchema = TableSchema {
    name: "fittings",
    required: &["wing", "side", "segment"],
    optional: &["turns", "spare_mm", "can_loop", "link_diameter_mm", "step_mm"],
};

/// What happened to wings.
pub(super) const EVENTS: TableSchema =
    TableSchema { name: "events", required: &["wing", "date", "event"], optional: &["hours"] };

/// A user's own materials: a file that is named in the call, not a table of the folder.
pub(super) const MATERIALS: TableSchema = TableSchema {
    name: "materials",
    required: &["material", "break_elongation_pct", "expansion_per_k", "source"],
    optional: &["density_kg_m3", "modulus_gpa"],
};
/// Stations of a half wing, a file of its own.
pub(super) const PLANFORM: TableSchema =
    TableSchema { name: "planform", required: &["y_m", "chord_m"], optional: &["z_m"] };
/// Proposed actions, a file of its own.
pub(super) const GIVEN: TableSchema =
    TableSchema { name: "actions to try", required: &["segment", "side", "action"], optional: &["amount"] };
/// Steps that a workshop offers, a file of its own.
pub(super) const STEPS: TableSchema = TableSchema {
    name: "steps",
    required: &["action"],
    optional: &["change_mm", "spread_mm", "price", "row", "most"],
};

/// The tables in the order in which faults are listed.
pub(super) const ORDER: [&str; 11] = [
    LINES.name,
    SEGMENTS.name,
    ROWS.name,
    MODELS.name,
    WINGS.name,
    CHECKS.name,
    READINGS.name,
    RISERS.name,
    ACTIONS.name,
    FITTINGS.name,
    EVENTS.name,
];
