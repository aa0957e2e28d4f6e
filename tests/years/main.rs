//! How long ten years of a hundred engines take in `replay`:
//! `cargo build --release && cargo run --release --example years [-- ENGINES YEARS [FOLDER]]`.
//!
//! Writes simulated logbooks (one flight a row, additions and refills beside it, some 365 h a year each) into a
//! fresh folder and runs the program built beside this one, as an operator would: `replay` alone and with another
//! threshold. The same for half the years shows whether the time is linear in the flights. With a folder as third
//! argument the fleet is written there and left, for `tests/tools/service.py`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a measuring program stops where it cannot measure")]

#[path = "../sim/mod.rs"]
mod sim;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use sim::{Case, Kept};

/// Engine hours a year.
const HOURS_A_YEAR: f64 = 365.0;

fn main() {
    let number = |at: usize, usual: u64| std::env::args().nth(at).map_or(usual, |n| n.parse().unwrap());
    let (engines, years) = (number(1, 100), number(2, 10));
    if let Some(folder) = std::env::args().nth(3) {
        return println!("{} flights", fleet(Path::new(&folder), engines, years));
    }
    let program = std::env::current_exe().unwrap().parent().unwrap().parent().unwrap().join("cowlwatch");
    assert!(program.exists(), "{} is missing: cargo build --release", program.display());
    println!(
        "{:>7} {:>6} {:>9}  {:<40} {:>7} {:>7} {:>9}",
        "engines", "years", "flights", "", "wall s", "CPU s", "peak MB"
    );
    for years in [years.div_ceil(2), years] {
        let folder = tempfile::tempdir().unwrap();
        let flights = fleet(folder.path(), engines, years);
        let other = ["--set", "consumption.smallest_change=2"];
        for more in [&[][..], &other] {
            let m = measure(&program, folder.path(), more);
            println!(
                "{engines:>7} {years:>6} {flights:>9}  {:<40} {:>7.1} {:>7.1} {:>9.0}",
                format!("replay {}", more.join(" ")),
                m.wall_s,
                m.cpu_s,
                m.peak_mb
            );
        }
    }
}

/// Writes a fleet; gives the number of flights.
fn fleet(folder: &Path, engines: u64, years: u64) -> usize {
    let (mut flown, span) = (0, years as f64 * 365.25 * 86_400.0);
    for number in 0..engines {
        let kept = [Kept::Levels, Kept::Flights, Kept::Flights, Kept::Additions][number as usize % 4];
        let mut case = Case::realistic(9_000_001 + number, kept);
        case.hours = HOURS_A_YEAR * years as f64;
        case.rate = [0.05, 0.083, 0.125, 0.2][number as usize % 4];
        case.wear = 2e-5;
        if number % 5 == 0 {
            (case.fault_at, case.ratio) = (case.hours * 0.7, 2.0);
        }
        let mut flights = sim::fly(&case);
        let (first, last) = (flights[0].at, flights[flights.len() - 1].at);
        let stretch = span / (last - first).num_seconds() as f64;
        for flight in &mut flights {
            let seconds = (flight.at - first).num_seconds() as f64 * stretch;
            flight.at = first - chrono::TimeDelta::days(3650) + chrono::TimeDelta::seconds(seconds as i64);
        }
        flown += flights.len();
        let tail = format!("N0{number:03}Y");
        let at = folder.join("fleet").join(&tail);
        fs::create_dir_all(&at).unwrap();
        let aircraft = format!(
            "tail = \"{tail}\"\nmeter = \"tach\"\nmeter_at_start = 0.0\n[[engine]]\nserial = \"Y-{number}\"\n\
             model = \"H6-350T\"\nfill_qt = {}\nadd_mark_qt = {}\n",
            case.fill, case.mark
        );
        fs::write(at.join("aircraft.toml"), aircraft).unwrap();
        fs::write(at.join("logbook.csv"), sim::logbook(&case, &flights)).unwrap();
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    fs::copy(root.join("config/engines.toml"), folder.join("engines.toml")).unwrap();
    let config = "[fleet]\nfolder = \"fleet\"\nmodels = \"engines.toml\"\nstate = \"state\"\ntime_zone = \"UTC\"\n";
    fs::write(folder.join("cowlwatch.toml"), config).unwrap();
    flown
}

struct Measured {
    wall_s: f64,
    cpu_s: f64,
    peak_mb: f64,
}

fn measure(program: &PathBuf, folder: &Path, more: &[&str]) -> Measured {
    let (started, before) = (Instant::now(), children_cpu_s());
    let mut child = Command::new(program)
        .args(["replay", "--config", "cowlwatch.toml", "--json"])
        .args(more)
        .current_dir(folder)
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let status_file = format!("/proc/{}/status", child.id());
    let mut peak_mb: f64 = 0.0;
    let status = loop {
        let status = fs::read_to_string(&status_file).unwrap_or_default();
        let kb = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).and_then(|l| l.trim().strip_suffix(" kB"));
        peak_mb = peak_mb.max(kb.and_then(|kb| kb.trim().parse::<f64>().ok()).unwrap_or(0.0) / 1024.0);
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    };
    assert!(status.success(), "replay ended with {status}");
    Measured { wall_s: started.elapsed().as_secs_f64(), cpu_s: children_cpu_s() - before, peak_mb }
}

/// User and system time of ended children, seconds (proc(5): fields 16 and 17 of stat, in hundredths).
fn children_cpu_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let after_name = stat.rsplit(')').next().unwrap();
    let fields: Vec<f64> = after_name.split_whitespace().skip(1).map(|f| f.parse().unwrap_or(0.0)).collect();
    (fields[12] + fields[13]) / 100.0
}
