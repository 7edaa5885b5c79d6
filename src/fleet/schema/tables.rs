//! The declarations.

use std::borrow::Cow;
use std::marker::PhantomData;

use jiff::civil::Date;

use super::{Field, Need, TableSchema, Value};
use crate::check::{ActionKind, Condition, Stage};
use crate::fleet::dictionary::{ColumnEntry, ColumnKind};
use crate::fleet::read::cell::Limit;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::Record;
use crate::fleet::write::table::{Column, ColumnData, Table};
use crate::wing::{Row, Side};

type Text<'a> = Cow<'a, str>;

/// What names allow, and what is in columns of days.
const SIDES: &str = "`left`, `right`";
const SIDE: &str = "side of the wing, as the pilot sees it";
const ROW_NAMES: &str = "`A` … `brake`";
const TRUTH: &str = "`true`, `false`";
const KINDS: &str = "`turn`, `larks_head`, `remove_loop`, `small_link`, `larger_link`, `splice`, `replace`, `replace_line`, `brake_handle`, `riser`, `stretch`";

/// A table, as `SCHEMA Row = "name", "what a row is";` and of each column
/// `name: type, what must be there, the range of a number if it has one, "unit", "meaning";`.
macro_rules! table {
    (
        $schema:ident $row:ident = $name:literal, $row_is:literal;
        $($field:ident $(($column:literal))?: $type:ty, $need:ident $($limit:ident)?, $unit:expr, $meaning:expr;)*
    ) => {
        #[doc = concat!("The table `", $name, "`: one row per ", $row_is, ".")]
        pub(crate) const $schema: TableSchema = TableSchema {
            name: $name,
            row_is: $row_is,
            columns: $row::COLUMNS,
            needs: &[$(Need::$need),*],
        };

        #[doc = concat!("One row of `", $name, "`: one ", $row_is, ".")]
        #[derive(Debug, Clone, Default)]
        pub(crate) struct $row<'a> {
            $(pub(crate) $field: Option<$type>,)*
            pub(crate) of: PhantomData<&'a ()>,
        }

        impl<'a> $row<'a> {
            const COLUMNS: &'static [ColumnEntry] = &[$(ColumnEntry {
                name: table!(@name $field $($column)?),
                kind: <$type as Field<'a>>::KIND,
                unit: $unit,
                meaning: $meaning,
            }),*];

            /// A record as a row; what is wrong with its cells is noted.
            #[allow(dead_code, reason = "readings are read row by row without one")]
            pub(crate) fn read(record: Record<'a>, faults: &mut FaultList) -> Self {
                Self {
                    $($field: record.read(
                        table!(@name $field $($column)?), Need::$need, table!(@limit $($limit)?), faults,
                    ),)*
                    of: PhantomData,
                }
            }

            /// Rows as a table with every column.
            #[allow(dead_code, reason = "files beside a fleet are only read")]
            pub(crate) fn table(rows: &[Self]) -> Table {
                let columns = vec![$(
                    column(table!(@name $field $($column)?), rows.iter().map(|row| row.$field.as_ref())),
                )*];
                Table { name: $name.to_owned(), columns }
            }

            /// The cells that are not empty.
            #[allow(dead_code, reason = "some tables are only written whole")]
            pub(crate) fn cells(&self) -> Vec<(&'static str, Value)> {
                let cells = [$((table!(@name $field $($column)?), self.$field.as_ref().map(Field::value)),)*];
                cells.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
            }
        }
    };
    (@name $field:ident) => { stringify!($field) };
    (@name $field:ident $column:literal) => { $column };
    (@limit) => { Limit::Any };
    (@limit $limit:ident) => { Limit::$limit };
}

fn column<'a, 'b, T: Field<'a> + 'b>(name: &str, cells: impl Iterator<Item = Option<&'b T>>) -> Column {
    let values = cells.map(|cell| cell.map(Field::value));
    let data = match T::KIND {
        ColumnKind::Text => ColumnData::Text(values.map(|value| value.map(|value| value.text())).collect()),
        ColumnKind::Number => ColumnData::Number(values.map(|value| value?.number()).collect()),
        ColumnKind::Count => ColumnData::Count(values.map(|value| value?.count()).collect()),
    };
    Column { name: name.to_owned(), data }
}

table! {
    LINES LineRow = "lines", "line of a model";
    model: Text<'a>, Filled, "", "model name";
    line: Text<'a>, Filled, "", "line name, once per model, version and side";
    row: Row, Filled, ROW_NAMES, "row name";
    rank: u32, Filled, "1, 2, …", "place in its row, from the centre outwards";
    span: f64, Nothing Fraction, "0 … 1", "place along the half span, 0 at the centre and 1 at the tip";
    chord: f64, Nothing Fraction, "0 … 1", "place along the chord, 0 at the leading and 1 at the trailing edge";
    nominal_mm: f64, Filled LineLength, "mm", "the maker's length";
    main: Text<'a>, Nothing, "", "main line that it hangs on";
    material: Text<'a>, Nothing, "", "its material where there is no cascade";
    tolerance_mm: f64, Nothing Positive, "mm", "the maker's own tolerance";
    side: Side, Nothing, SIDES, "side that alone has the line; empty: both";
    table_version: Text<'a>, Nothing, "", "version of the maker's table";
}

table! {
    SEGMENTS SegmentRow = "segments", "piece of the cascade";
    model: Text<'a>, Filled, "", "model name";
    segment: Text<'a>, Filled, "", "name, once per model";
    parent: Text<'a>, Column, "", "segment below it; empty at the riser";
    material: Text<'a>, Filled, "", "such as `uhmwpe`, `aramid`, `lcp`";
    length_mm: f64, Filled NotNegative, "mm", "length";
    diameter_mm: f64, Nothing Positive, "mm", "diameter";
    can_loop: bool, Nothing, TRUTH, "whether a loop can be laid at its link";
}

table! {
    ROWS RowOfModel = "rows", "row of a model";
    model: Text<'a>, Filled, "", "model name";
    row: Row, Filled, ROW_NAMES, "row name";
    chord: f64, Nothing Fraction, "0 … 1", "chord position of the row";
    riser_mm: f64, Nothing NotNegative, "mm", "nominal length of the row's riser";
}

table! {
    MODELS ModelRow = "models", "model";
    model: Text<'a>, Filled, "", "model name";
    span_m: f64, Nothing Positive, "m", "flat span";
    area_m2: f64, Nothing Positive, "m²", "flat area";
    root_chord_m: f64, Nothing Positive, "m", "chord at the centre";
    trim_speed_kmh: f64, Nothing Positive, "km/h", "trim speed";
    glide: f64, Nothing Positive, "–", "glide ratio";
    interval_h: f64, Nothing Positive, "h", "the maker's interval between checks, hours flown";
    interval_months: f64, Nothing Positive, "months", "the maker's interval between checks, calendar";
    inspection_h: f64, Nothing Positive, "h", "the maker's interval between full inspections, hours flown";
    inspection_months: f64, Nothing Positive, "months", "the maker's interval between full inspections, calendar";
}

table! {
    WINGS WingRow = "wings", "wing";
    wing: Text<'a>, Filled, "", "wing id";
    model: Text<'a>, Filled, "", "a model of `lines`";
    mass_kg: f64, Nothing Positive, "kg", "all-up mass flown";
    first_flight: Date, Nothing, "date", "day of the first flight";
    hours_per_year: f64, Nothing NotNegative, "h", "hours flown per year";
    interval_h: f64, Nothing Positive, "h", "this wing's own interval between checks, hours flown";
    interval_months: f64, Nothing Positive, "months", "this wing's own interval between checks, calendar";
    table_version: Text<'a>, Nothing, "", "version of the maker's table that it follows";
    class_of_use ("use"): Text<'a>, Nothing, "", "class of use: private, school, tandem, competition or one of the workshop's rules";
    ground_share: f64, Nothing NotNegative, "–", "hours of ground handling per hour flown";
    inspection_h: f64, Nothing Positive, "h", "this wing's own interval between full inspections, hours flown";
    inspection_months: f64, Nothing Positive, "months", "this wing's own interval between full inspections, calendar";
    inspected: Date, Nothing, "date", "day of the last full inspection";
    inspected_hours: f64, Nothing NotNegative, "h", "hours flown since new at that inspection";
    serial_number: Text<'a>, Nothing, "", "serial number, for the record of the lengths";
    owner: Text<'a>, Nothing, "", "who owns it, for the record of the lengths; no document passes it on";
}

table! {
    CHECKS CheckRow = "checks", "check";
    check: Text<'a>, Filled, "", "check id";
    wing: Text<'a>, Filled, "", "wing id";
    date: Date, Filled, "date", "day of the check";
    hours: f64, Filled NotNegative, "h", "hours flown since new";
    stage: Stage, Nothing, "`as_found`, `as_left`", "before or after adjusting";
    load_n: f64, Nothing Load, "N", "measuring load";
    datum_mm: f64, Nothing, "mm", "what each reading includes beyond the maker's datum";
    temperature_c: f64, Nothing Celsius, "°C", "temperature";
    condition: Condition, Nothing, "`dry`, `damp`, `wet`", "state of the lines";
    brake_setting_mm: f64, Nothing NotNegative, "mm", "free length given to the brake line at the handle";
    confirmed: Text<'a>, Nothing, "`left:B3; right:B4`", "lines measured again that are as read, however odd";
}

table! {
    READINGS ReadingRow = "readings", "reading";
    check: Text<'a>, Filled, "", "check id";
    side: Side, Filled, SIDES, SIDE;
    line: Text<'a>, Filled, "", "line name";
    reading_mm: f64, Filled NotNegative, "mm", "what the instrument showed";
    repeat: u32, Nothing, "1, 2, …", "which repeat";
    operator: Text<'a>, Nothing, "", "who read it";
}

table! {
    RISERS RiserRow = "risers", "riser that has something of its own";
    check: Text<'a>, Filled, "", "check id";
    side: Side, Filled, SIDES, SIDE;
    row: Row, Filled, ROW_NAMES, "row name";
    datum_mm: f64, Nothing, "mm", "its datum, in place of the check's";
    riser_mm: f64, Nothing NotNegative, "mm", "its measured length";
}

table! {
    ACTIONS ActionRow = "actions", "adjustment";
    wing: Text<'a>, Filled, "", "wing id";
    date: Date, Filled, "date", "day of the work";
    hours: f64, Filled NotNegative, "h", "hours flown since new";
    side: Side, Filled, SIDES, SIDE;
    segment: Text<'a>, Column, "", "segment worked on; empty: the whole set of that side";
    action: ActionKind, Filled, KINDS, "what was done";
    change_mm: f64, Filled, "mm", "intended change of length; negative shortens";
    turns: f64, Nothing NotNegative, "", "number of turns";
    check: Text<'a>, Nothing, "", "the `as_left` check that followed";
}

table! {
    FITTINGS FittingRow = "fittings", "link that has something on it";
    wing: Text<'a>, Filled, "", "wing id";
    side: Side, Filled, SIDES, SIDE;
    segment: Text<'a>, Filled, "", "segment";
    turns: f64, Nothing NotNegative, "", "extra turns on it now";
    spare_mm: f64, Nothing NotNegative, "mm", "loop length that can still be given";
    can_loop: bool, Nothing, TRUTH, "whether a loop can be laid here";
    link_diameter_mm: f64, Nothing Positive, "mm", "diameter of the link's rod";
    step_mm: f64, Nothing Positive, "mm", "what one turn does on this wing, measured";
}

table! {
    EVENTS EventRow = "events", "something that happened to a wing";
    wing: Text<'a>, Filled, "", "wing id";
    date: Date, Filled, "date", "day";
    event: Text<'a>, Filled, "", "kind: `tree`, `water`, `sand`, `strong_load`, `line_replaced` or one of the workshop's rules";
    hours: f64, Nothing NotNegative, "h", "hours flown since new";
}

// Files beside a fleet, named in the call.

table! {
    MATERIALS MaterialRow = "materials", "material of the user's own";
    material: Text<'a>, Filled, "", "name";
    break_elongation_pct: f64, Filled, "%", "elongation at break";
    expansion_per_k: f64, Filled, "1/K", "thermal expansion along the fibre";
    source: Text<'a>, Filled, "", "where the figures are from";
    density_kg_m3: f64, Nothing, "kg/m³", "density";
    modulus_gpa: f64, Nothing, "GPa", "modulus";
}

table! {
    PLANFORM StationRow = "planform", "station of one half, from the centre outwards";
    y_m: f64, Filled NotNegative, "m", "distance from the plane of symmetry";
    chord_m: f64, Filled NotNegative, "m", "chord";
    z_m: f64, Nothing, "m", "height";
}

table! {
    GIVEN GivenRow = "actions to try", "proposed action";
    segment: Text<'a>, Filled, "", "segment";
    side: Side, Filled, SIDES, SIDE;
    action: ActionKind, Filled, KINDS, "what to do";
    amount: f64, Nothing, "", "turns, or mm for a small link or splice";
}

table! {
    STEPS StepRow = "steps", "step that a workshop offers";
    action: ActionKind, Filled, KINDS, "what can be done";
    change_mm: f64, Nothing, "mm", "change of length";
    spread_mm: f64, Nothing, "mm", "standard uncertainty of it";
    price: f64, Nothing, "0 … 1000", "price of the action at the riser, in lines off by their tolerance";
    row: Row, Nothing, ROW_NAMES, "the only row it is offered on";
    most: f64, Nothing Positive, "", "how often at most";
}
