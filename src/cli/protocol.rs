//! `linedrift report --protocol`

use std::path::Path;

use linedrift::check::Fleet;
use linedrift::fleet::batch::one_wing;
use linedrift::fleet::{TableFormat, write_atomic};
use linedrift::report::{PROTOCOL_STATEMENT, ProtocolSpec, text};
use serde::Serialize;

use super::Failure;
use super::args::Choice;
use super::output::{self, Output};

/// What goes into the protocol that no table holds.
#[derive(Debug, Default, clap::Args)]
pub(super) struct ProtocolOptions {
    /// Write the protocol of one wing in place of the report: the record of its lengths, to print and sign, as page and CSV
    #[arg(long)]
    protocol: bool,
    /// Serial number of the wing, for the protocol [default: that of the table `wings`]
    #[arg(long, value_name = "TEXT", requires = "protocol", default_value = "", hide_default_value = true)]
    serial_number: String,
    /// Owner of the wing, for the protocol [default: that of the table `wings`]
    #[arg(long, value_name = "TEXT", requires = "protocol", default_value = "", hide_default_value = true)]
    owner: String,
    /// Who measured and signs, for the protocol
    #[arg(long, value_name = "TEXT", requires = "protocol", default_value = "", hide_default_value = true)]
    inspector: String,
    /// What the lines were measured with, for the protocol
    #[arg(long, value_name = "TEXT", requires = "protocol", default_value = "", hide_default_value = true)]
    instrument: String,
}

#[derive(Serialize)]
struct ProtocolDocument {
    schema: &'static str,
    page: String,
    tables: Vec<String>,
    statement: &'static str,
}

impl ProtocolOptions {
    pub(super) fn wanted(&self) -> bool {
        self.protocol
    }

    pub(super) fn run(&self, fleet: &Fleet, choice: &Choice, out: &Path, json: bool) -> Result<Output, Failure> {
        let history = match &choice.check {
            Some(_) => choice.meant().one(fleet)?.history,
            None => one_wing(fleet, choice.wing.as_deref())?,
        };
        let mut spec = ProtocolSpec::default()
            .serial_number(&self.serial_number)
            .owner(&self.owner)
            .inspector(&self.inspector)
            .instrument(&self.instrument);
        if let Some(check) = &choice.check {
            spec = spec.check(check);
        }
        if fleet.is_demo() {
            spec = spec.demo();
        }
        let protocol = spec.run(fleet.line_set(history), history)?;
        output::make_folder(out)?;
        let tables = output::write_formats(&protocol.table(), out, &[TableFormat::Csv])?;
        let page = out.join("protocol.html");
        write_atomic(&page, protocol.html().as_bytes())?;
        let page = page.display().to_string();
        if json {
            let statement = PROTOCOL_STATEMENT;
            let document = ProtocolDocument { schema: "linedrift.report/1", page, tables, statement };
            return Output::json(&output::document(document, fleet.is_demo()));
        }
        let note = if fleet.is_demo() { format!("{}\n", text::demo_note()) } else { String::new() };
        Ok(Output::text(format!(
            "{}{note}\n{PROTOCOL_STATEMENT}\nThe protocol: {page}\nAs a table: {}\n",
            text::cautions(),
            tables.join(", ")
        )))
    }
}
