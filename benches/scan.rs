//! The streaming pass over a fleet folder, once: `cargo bench --bench scan -- FOLDER`. Prints one line of JSON with the time of the
//! reduction, of the fit, and the peak of memory; `benches/peers/scan.py` runs it for many sizes beside a plain scan.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout)]

use std::time::Instant;

use linedrift::fleet::ScanSpec;
use linedrift::wear::WearSpec;

/// Peak of the memory in use, MiB, where the system tells it.
fn peak_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.trim().trim_end_matches("kB").trim().parse::<f64>().ok().map(|kib| kib / 1024.0)
}

fn main() {
    // without a folder (cargo hands its own flags over) there is nothing to measure
    let Some(folder) = std::env::args().skip(1).find(|word| !word.starts_with("--")) else {
        println!("give a fleet folder: cargo bench --bench scan -- FOLDER");
        return;
    };
    let begun = Instant::now();
    let reduction = ScanSpec::default().run(folder.as_ref()).unwrap().reduction;
    let scan_s = begun.elapsed().as_secs_f64();
    let scan_peak = peak_mib();
    let begun = Instant::now();
    let fit = WearSpec::default().fit_reduced(&reduction).unwrap();
    let answer = serde_json::json!({
        "readings": reduction.readings(),
        "wings": reduction.wings().len(),
        "scan_s": scan_s,
        "scan_peak_mib": scan_peak,
        "fit_s": begun.elapsed().as_secs_f64(),
        "evaluations": fit.evaluations(),
        "peak_mib": peak_mib(),
        "threads": rayon::current_num_threads(),
    });
    println!("{answer}");
}
