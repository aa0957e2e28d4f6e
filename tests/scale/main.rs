//! A fleet folder of very many files: time and memory of a first pass, and of passes that find nothing new.
//!
//! `cargo run --release --example scale -- 100000`. Files are small, made here, in a temporary folder; each pass is
//! the program itself in a process of its own, its peak memory read from `/proc` while it runs. The last line is the
//! look at the folder alone, which is all the service does while nothing changes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a measuring program stops where it cannot measure"
)]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const TAILS: usize = 100;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if args.first().is_some_and(|a| a == "look") {
        return look(Path::new(&args[1]));
    }
    let count: usize = args.first().map_or(100_000, |n| n.parse().expect("a number of files"));
    let home = tempfile::tempdir().unwrap();
    make(home.path(), count);
    println!("{count} recordings in {TAILS} folders");
    let program = program();
    for what in ["first pass", "nothing new", "nothing new"] {
        let mut command = Command::new(&program);
        measure(
            what,
            command
                .args(["scan", "--as-of", "2026-06-01"])
                .current_dir(home.path())
                .arg("--config")
                .arg("cowlwatch.toml"),
        );
    }
    let mut alone = Command::new(std::env::current_exe().unwrap());
    measure("the look alone", alone.arg("look").arg(home.path()));
}

/// The program beside this one.
fn program() -> PathBuf {
    let program = std::env::current_exe().unwrap().parent().unwrap().with_file_name("cowlwatch");
    assert!(program.exists(), "{}: cargo build --release first", program.display());
    program
}

fn measure(what: &str, command: &mut Command) {
    let (started, cpu) = (Instant::now(), children_cpu());
    let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    while child.try_wait().unwrap().is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let now = text.lines().find_map(|l| l.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse().ok());
        peak = peak.max(now.unwrap_or(0u64));
        std::thread::sleep(Duration::from_millis(2));
    }
    let took = started.elapsed().as_secs_f64();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success());
    let said = String::from_utf8_lossy(&out.stdout);
    let said = said.lines().next().unwrap_or("");
    println!("{what:<16} {took:>7.2} s  {:>6.2} s CPU  {:>6.1} MB  {said}", children_cpu() - cpu, peak as f64 / 1024.0);
}

/// CPU seconds of ended children so far.
fn children_cpu() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let after = stat.rsplit(')').next().unwrap();
    after.split_whitespace().skip(13).take(2).map(|t| t.parse::<f64>().unwrap()).sum::<f64>() / 100.0
}

fn look(home: &Path) {
    use cowlwatch::config::{load_partly, models};
    use cowlwatch::shell::{scan, store::Store};
    let text = |name: &str| fs::read_to_string(home.join(name)).unwrap();
    let models = models::parse(&text("engines.toml"), "engines.toml").0;
    let config = load_partly(&text("cowlwatch.toml"), "cowlwatch.toml", home).0.unwrap().with_models(&models);
    let store = Store::open(&config.settings.fleet.state).unwrap();
    let look = scan::Look::at_once(config.into(), models.models.into(), scan::Progress::default());
    let started = Instant::now();
    let known = store.known().unwrap();
    let listed = started.elapsed();
    let batch = scan::look(&look, &known);
    assert!(batch.changes.is_empty());
    println!(
        "{} unchanged; known files listed in {:.2} s, looked at in {:.2} s",
        batch.unchanged,
        listed.as_secs_f64(),
        (started.elapsed() - listed).as_secs_f64()
    );
}

fn make(home: &Path, count: usize) {
    let zone = "time_zone = \"America/Denver\"";
    let fleet = format!("[fleet]\nfolder = \"fleet\"\nmodels = \"engines.toml\"\nstate = \"state\"\n{zone}\n");
    fs::write(home.join("cowlwatch.toml"), fleet).unwrap();
    fs::write(
        home.join("engines.toml"),
        "[[model]]\nname = \"K6-250\"\nrated_hp = 250\nrated_rpm = 2700\ncylinders = 6\n",
    )
    .unwrap();
    for tail in 0..TAILS {
        let name = format!("N0{tail:03}K");
        let folder = home.join("fleet").join(&name);
        fs::create_dir_all(folder.join("monitor")).unwrap();
        let engine = format!(
            "[[engine]]\nserial = \"K-{tail:04}\"\nmodel = \"K6-250\"\nhours_at_start = 1000.0\noil = \"AD 50\"\n"
        );
        fs::write(folder.join("aircraft.toml"), format!("tail = \"{name}\"\nmeter = \"tach\"\n{engine}")).unwrap();
        for number in 0..count / TAILS {
            // A short run on the ground; ten years of two recordings a week.
            let start = 1_460_000_000 + number as i64 * 302_400;
            let mut text = String::from("time,rpm,cht1_f,cht2_f,ias_kt\n");
            for s in 0..30 {
                let at = chrono::DateTime::from_timestamp(start + s * 10, 0).unwrap().format("%Y-%m-%dT%H:%M:%SZ");
                writeln!(text, "{at},{},{},{},0", 1000 + s, 200 + s, 205 + s).unwrap();
            }
            fs::write(folder.join("monitor").join(format!("{number:05}.csv")), text).unwrap();
        }
    }
}
