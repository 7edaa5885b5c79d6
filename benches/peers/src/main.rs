//! One fit by mixeff-rs, in a process of its own: `linedrift-peers COLUMNS.csv FORMULA`; called by run.py.
//!
//! Prints one line of JSON: version, seconds of the fit, peak memory since its start, REML criterion, rates.

use std::collections::BTreeMap;
use std::error::Error;
use std::time::Instant;

use mixeff_rs::formula::parse_formula;
use mixeff_rs::model::{DataFrame, LinearMixedModel, MixedModelFit};

const GROUPS: [&str; 3] = ["wing", "check", "line"];
/// Ticks in a second of the times in /proc: fixed on Linux, `sysconf(_SC_CLK_TCK)`.
const TICKS: f64 = 100.0;

fn main() -> Result<(), Box<dyn Error>> {
    let mut given = std::env::args().skip(1);
    let (Some(path), Some(formula)) = (given.next(), given.next()) else {
        return Err("linedrift-peers COLUMNS.csv FORMULA".into());
    };
    let data = read(&path)?;

    std::fs::write("/proc/self/clear_refs", "5")?;
    let (begin, cpu_s) = (Instant::now(), cpu_s()?);
    let mut model = LinearMixedModel::new(parse_formula(&formula)?, &data, None)?;
    model.fit(true)?;
    let wall_s = begin.elapsed().as_secs_f64();
    let cpu_s = self::cpu_s()? - cpu_s;

    let coefficients = model.coef();
    let rates: BTreeMap<String, f64> = model.coef_names().into_iter().zip(coefficients.iter().copied()).collect();
    let result = serde_json::json!({
        "version": "mixeff-rs 1.0.0-rc.5",
        "wall_s": wall_s,
        "cpu_s": cpu_s,
        "memory_mib": memory_mib()?,
        "criterion": model.objective(),
        "rates": rates,
        "note": if model.converged() { "" } else { "says that it did not converge" },
    });
    println!("{result}");
    Ok(())
}

fn read(path: &str) -> Result<DataFrame, Box<dyn Error>> {
    let mut reader = csv::Reader::from_path(path)?;
    let header: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); header.len()];
    let mut labels: Vec<Vec<String>> = vec![Vec::new(); header.len()];
    for record in reader.records() {
        for (place, value) in record?.iter().enumerate() {
            if GROUPS.contains(&header[place].as_str()) {
                labels[place].push(value.to_owned());
            } else {
                columns[place].push(value.parse()?);
            }
        }
    }
    let mut data = DataFrame::new();
    for (place, name) in header.iter().enumerate() {
        if GROUPS.contains(&name.as_str()) {
            data.add_categorical(name, std::mem::take(&mut labels[place]))?;
        } else {
            data.add_numeric(name, std::mem::take(&mut columns[place]))?;
        }
    }
    Ok(data)
}

fn memory_mib() -> Result<f64, Box<dyn Error>> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib: f64 = peak.and_then(|text| text.split_whitespace().next()).ok_or("no VmHWM")?.parse()?;
    Ok(kib / 1024.0)
}

/// User and system seconds of this process, all threads.
fn cpu_s() -> Result<f64, Box<dyn Error>> {
    let stat = std::fs::read_to_string("/proc/self/stat")?;
    // The second field, the program's name in brackets, may hold blanks.
    let fields: Vec<&str> = stat.rsplit_once(')').ok_or("no stat")?.1.split_whitespace().collect();
    Ok((fields[11].parse::<f64>()? + fields[12].parse::<f64>()?) / TICKS)
}
