//! What a call says of a wing.

use linedrift::Date;
use linedrift::wing::{Service, Wing};

use super::args::{day, not_negative};

/// What is known of the wing; of one that the folder has, what it says is changed.
#[derive(Debug, Clone, Default, clap::Args)]
#[command(next_help_heading = "The wing")]
pub(super) struct WingData {
    /// All-up mass, kg
    #[arg(long, value_name = "KG", value_parser = not_negative)]
    mass_kg: Option<f64>,
    /// Day of the first flight
    #[arg(long, value_name = "DATE", value_parser = day)]
    first_flight: Option<Date>,
    /// Hours flown per year
    #[arg(long, value_name = "H", value_parser = not_negative)]
    hours_per_year: Option<f64>,
    /// Class of use: private, school, tandem, competition or one of the workshop's rules
    #[arg(long = "use", value_name = "CLASS")]
    class_of_use: Option<String>,
    /// Serial number
    #[arg(long, value_name = "TEXT")]
    serial_number: Option<String>,
    /// Who owns it; kept in the folder, and passed on by no document but the protocol
    #[arg(long, value_name = "TEXT")]
    owner: Option<String>,
}

impl WingData {
    /// A wing with what the call says of it.
    pub(super) fn over(&self, wing: Wing) -> Wing {
        Wing {
            mass_kg: self.mass_kg.or(wing.mass_kg),
            first_flight: self.first_flight.or(wing.first_flight),
            hours_per_year: self.hours_per_year.or(wing.hours_per_year),
            service: Service {
                class_of_use: self.class_of_use.clone().or(wing.service.class_of_use),
                ..wing.service
            },
            serial_number: self.serial_number.clone().or(wing.serial_number),
            owner: self.owner.clone().or(wing.owner),
            ..wing
        }
    }
}
