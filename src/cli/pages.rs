//! `linedrift completions` and `linedrift man`

use std::path::PathBuf;

use clap::Command;
use clap_complete::Shell;
use clap_mangen::Man;
use linedrift::fleet::write_atomic;

use super::Failure;
use super::output::{self, Output};

#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// The shell
    shell: Shell,
}

#[derive(Debug, clap::Args)]
pub(super) struct Manual {
    /// Write one page per command into this folder, in place of the main page to stdout
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

impl Completions {
    pub(super) fn run(&self, mut command: Command) -> Output {
        let mut bytes = Vec::new();
        clap_complete::generate(self.shell, &mut command, "linedrift", &mut bytes);
        Output::raw(String::from_utf8_lossy(&bytes).into_owned())
    }
}

impl Manual {
    pub(super) fn run(&self, mut command: Command) -> Result<Output, Failure> {
        command.build();
        let main = page(&command)?;
        let Some(out) = &self.out else { return Ok(Output::raw(String::from_utf8_lossy(&main).into_owned())) };
        output::make_folder(out)?;
        write_atomic(&out.join("linedrift.1"), &main)?;
        let mut pages = 1;
        for sub in command.get_subcommands().filter(|sub| sub.get_name() != "help" && !sub.is_hide_set()) {
            let name = format!("linedrift-{}", sub.get_name());
            write_atomic(&out.join(format!("{name}.1")), &page(sub)?)?;
            pages += 1;
        }
        Ok(Output::text(format!("{pages} pages in {}\n", out.display())))
    }
}

fn page(command: &Command) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    Man::new(command.clone()).source(concat!("linedrift ", env!("CARGO_PKG_VERSION"))).render(&mut bytes)?;
    Ok(bytes)
}
