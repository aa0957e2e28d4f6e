//! How fast recordings are reduced, as ratios of runs in turn: `cargo bench --bench reduce`.
//!
//! Made recordings (seeded, 40 columns, one row a second) are read by `wc -l`, by our reduction with one thread and
//! with two, by our reduction with every row through the `csv` crate, by a plain `csv` + `str::parse` reader of the same
//! columns, and by polars where a Python with it is found (`POLARS_PYTHON=…/python`; two threads, schema given,
//! streaming): once for three of the numbers, once for twenty. Each runs in a process of its own; CPU is user + system
//! time, of polars that of the query alone, without the start of the interpreter.
//! `BENCH_FILES` sets the number of recordings (default 60, some 70 MB).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a benchmark stops where it cannot measure")]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use cowlwatch::records::monitor::{RecordedEngine, ReduceContext, Reducer, Way};
use cowlwatch::shell::scan::hands::each;

const ROWS: u32 = 5400;
/// CPU time is counted in hundredths of a second, and `wc` takes two.
const TURNS: usize = 25;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    match args.first().map(String::as_str) {
        Some("reduce") => reduce(Way::Fast, 1, &args[1]),
        Some("reduce-two") => reduce(Way::Fast, 2, &args[1]),
        Some("reduce-csv") => reduce(Way::Csv, 1, &args[1]),
        Some("csv-parse") => csv_parse(&args[1]),
        _ => compare(),
    }
}

fn files(folder: &str) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "csv"));
    files.sort();
    files
}

fn reduce(way: Way, threads: usize, folder: &str) {
    let context = ReduceContext::new(chrono_tz::UTC, vec![RecordedEngine::new(None, None)]);
    let read = |reducer: &mut Reducer, file: &PathBuf| {
        let (found, rejected) = reducer.reduce_by(way, fs::File::open(file).unwrap(), "a.csv", None, &context);
        assert!(rejected.is_empty(), "{rejected:?}");
        (found.len(), found.iter().map(|r| r.air_s).sum::<f64>())
    };
    let all = each(threads, &files(folder), || false, read);
    let (runs, air) = all.iter().fold((0, 0.0), |(runs, air), one| (runs + one.0, air + one.1));
    println!("{runs} runs, {air:.0} s airborne");
    print_peak();
}

/// The usual way: records of the `csv` crate, `str::parse`, a few of the numbers.
fn csv_parse(folder: &str) {
    let (mut hottest, mut running) = (0.0f64, 0u64);
    for file in files(folder) {
        let mut reader = csv::Reader::from_path(&file).unwrap();
        let mut record = csv::StringRecord::new();
        while reader.read_record(&mut record).unwrap() {
            let number = |i: usize| record.get(i).and_then(|c| c.parse::<f64>().ok()).unwrap_or(f64::NAN);
            chrono::DateTime::parse_from_rfc3339(&record[0]).unwrap();
            running += u64::from(number(1) > 300.0);
            for i in 2..24 {
                if (8..14).contains(&i) {
                    hottest = hottest.max(number(i));
                } else {
                    std::hint::black_box(number(i));
                }
            }
        }
    }
    println!("{running} samples running, hottest {hottest}");
    print_peak();
}

fn print_peak() {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).unwrap_or("").trim().to_owned();
    println!("peak {peak}");
}

/// CPU seconds of ended children so far.
fn children_cpu() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let after = stat.rsplit(')').next().unwrap();
    let ticks: f64 = after.split_whitespace().skip(13).take(2).map(|t| t.parse::<f64>().unwrap()).sum();
    ticks / 100.0
}

/// What others' time is held against.
const OURS: &str = "reduction, two threads";

struct Measured {
    name: String,
    cpu: Vec<f64>,
    wall: Vec<f64>,
    peak: String,
    said: String,
}

fn compare() {
    let count = std::env::var("BENCH_FILES").ok().and_then(|n| n.parse().ok()).unwrap_or(60);
    let folder = tempfile::tempdir().unwrap();
    let bytes: usize = (0..count).map(|i| make(folder.path(), i)).sum();
    println!(
        "{count} recordings, {} rows, {:.1} MB, {} bytes a row",
        count * ROWS,
        bytes as f64 / 1e6,
        bytes / (count * ROWS) as usize
    );
    let me = std::env::current_exe().unwrap();
    let at = folder.path().to_str().unwrap().to_owned();
    let mut runs: Vec<(Measured, Box<dyn Fn() -> Command>)> = Vec::new();
    let mut add = |name: &str, command: Box<dyn Fn() -> Command>| {
        let measured =
            Measured { name: name.into(), cpu: vec![], wall: vec![], peak: String::new(), said: String::new() };
        runs.push((measured, command));
    };
    let all = files(&at);
    add(
        "wc -l",
        Box::new(move || {
            let mut c = Command::new("wc");
            c.arg("-l").args(&all);
            c
        }),
    );
    for (name, word) in [
        (OURS, "reduce-two"),
        ("reduction, one thread", "reduce"),
        ("reduction, all rows by csv", "reduce-csv"),
        ("csv + str::parse", "csv-parse"),
    ] {
        let (me, at) = (me.clone(), at.clone());
        add(
            name,
            Box::new(move || {
                let mut c = Command::new(&me);
                c.arg(word).arg(&at);
                c
            }),
        );
    }
    match python() {
        Some(python) => {
            for numbers in ["3", "20"] {
                let (python, at) = (python.clone(), at.clone());
                add(
                    &format!("polars, {numbers} numbers, two threads"),
                    Box::new(move || {
                        let mut c = Command::new(&python);
                        c.args(["-c", POLARS, &at, numbers]).env("POLARS_MAX_THREADS", "2");
                        c
                    }),
                );
            }
        }
        None => println!("no Python with polars found: set POLARS_PYTHON"),
    }
    for turn in 0..=TURNS {
        for (measured, command) in &mut runs {
            run(measured, command(), turn > 0);
        }
    }
    report(&runs.into_iter().map(|r| r.0).collect::<Vec<_>>());
}

fn run(measured: &mut Measured, mut command: Command, counts: bool) {
    let (cpu, started) = (children_cpu(), Instant::now());
    let out = command.stdin(Stdio::null()).output().unwrap();
    assert!(out.status.success(), "{}: {}", measured.name, String::from_utf8_lossy(&out.stderr));
    let (mut wall, mut cpu) = (started.elapsed().as_secs_f64(), children_cpu() - cpu);
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    for line in said.lines() {
        if let Some(peak) = line.strip_prefix("peak ") {
            measured.peak = peak.to_owned();
        } else if let Some(query) = line.strip_prefix("query ") {
            // Only the query counts, not the start of the interpreter.
            let took: Vec<f64> = query.split(' ').map(|s| s.parse().unwrap()).collect();
            (wall, cpu) = (took[0], took[1]);
        } else {
            measured.said = line.to_owned();
        }
    }
    if counts {
        measured.cpu.push(cpu);
        measured.wall.push(wall);
    }
}

/// Of wall times the least: what else the machine does only adds to them.
fn least(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::INFINITY, f64::min)
}

fn report(all: &[Measured]) {
    let base = all[0].cpu.iter().sum::<f64>() / all[0].cpu.len() as f64;
    let ours = all.iter().find(|m| m.name == OURS).map_or(f64::NAN, |m| least(&m.wall));
    println!("{:<32} {:>8} {:>8} {:>10} {:>10}  {:>12}", "", "CPU s", "wall s", "× wc CPU", "× our wall", "peak");
    for m in all {
        let cpu = m.cpu.iter().sum::<f64>() / m.cpu.len() as f64;
        let wall = least(&m.wall);
        println!(
            "{:<32} {cpu:>8.3} {wall:>8.3} {:>10.1} {:>10.2}  {:>12}  {}",
            m.name,
            cpu / base,
            wall / ours,
            m.peak,
            m.said
        );
    }
}

fn python() -> Option<String> {
    let named = std::env::var("POLARS_PYTHON").ok();
    let candidates = named.into_iter().chain(["python3".to_owned()]);
    candidates.into_iter().find(|p| {
        Command::new(p).args(["-c", "import polars"]).stderr(Stdio::null()).status().is_ok_and(|s| s.success())
    })
}

/// By file. Three numbers: running samples, hottest head, rows in a manifold band. Twenty, as in the reduction, but by
/// rows where that goes by time, and without a word for missing, frozen or jumping probes, phases or pictures: running
/// time; seconds on the ground before and after and in the air; rpm and manifold pressure held in the take-off; three bands of
/// power; each head's and the oil's highest temperature held; lowest oil pressure above idle; steepest cooling over 60 s;
/// largest fall of manifold pressure over 60 s, and falls over 15 s.
const POLARS: &str = r#"
import sys, time, resource, glob
import polars as pl
files = sorted(glob.glob(sys.argv[1] + "/*.csv"))
head = open(files[0]).readline().strip().split(",")
schema = {c: (pl.String if c == "time" else pl.Float32) for c in head}
col, heads = pl.col, [f"cht{i}_f" for i in range(1, 7)]
THREE = [(col("rpm") > 300).sum().alias("running"), pl.max_horizontal(heads).max().alias("hottest"),
         col("manifold_inhg").is_between(22, 25).sum().alias("band")]
s = lambda seconds: pl.duration(seconds=seconds)
t, flies, pressure = col("t"), col("ias_kt") >= 50, col("manifold_inhg")
up, down, step = t.filter(flies).min(), t.filter(flies).max(), t.shift(-1) - t
rolls, held = t.is_between(up - s(60), up + s(30)), lambda name: col(name).rolling_min(3)
TWENTY = [
    step.filter((col("rpm") > 300) & (step <= s(15))).sum().alias("running"),
    (up - t.min()).alias("before"), (t.max() - down).alias("after"), (down - up).alias("air"),
    held("rpm").filter(rolls).max().alias("rolls_rpm"), held("manifold_inhg").filter(rolls).max().alias("rolls_inhg"),
    *[col("power_pct").is_between(a, b, closed="left").sum().alias(f"band{a}") for a, b in [(55, 65), (65, 75), (75, 130)]],
    *[held(h).max().alias(h) for h in heads], held("oil_temp_f").max().alias("oil_temp"),
    col("oil_press_psi").filter(col("rpm") >= 1500).min().alias("oil_press"),
    pl.max_horizontal([(col(h).shift(60) - col(h)).max() for h in heads]).alias("cooling"),
    (pressure.shift(60) - pressure).filter(flies).max().alias("fall"),
    ((pressure.shift(15) - pressure >= 1.5) & flies).sum().alias("falls"),
]
began, began_cpu = time.perf_counter(), time.process_time()
rows = pl.scan_csv(files, schema=schema, include_file_paths="file")
if sys.argv[2] == "20":
    # Faster than with the Z, than with the cache of texts seen, and than a schema that says it is a time.
    text = col("time").str.slice(0, 19)
    rows = rows.with_columns(text.str.to_datetime("%Y-%m-%dT%H:%M:%S", cache=False).alias("t"))
out = rows.group_by("file").agg(TWENTY if sys.argv[2] == "20" else THREE).collect(engine="streaming")
print("query", time.perf_counter() - began, time.process_time() - began_cpu)
print("peak", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, "kB")
print(f"{len(out)} files, {out['running'].sum()} running")
"#;

/// Writes one recording of a flight; gives its length in bytes.
fn make(folder: &Path, number: u32) -> usize {
    let mut seed = u64::from(number) * 0x9E37_79B9_7F4A_7C15 + 1;
    let mut noise = move |spread: f64| {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        (seed % 2001) as f64 / 1000.0 * spread - spread
    };
    let mut out = String::from("time,rpm,manifold_inhg,fuel_flow_gph,power_pct,oil_temp_f,oil_press_psi");
    for (name, n) in [("cht", 6), ("egt", 6)] {
        for i in 1..=n {
            write!(out, ",{name}{i}_f").unwrap();
        }
    }
    out.push_str(",ias_kt,gs_kt,alt_ft,oat_f,lat,lon,volts,amps,tit_f,carb_f,fuel_l,fuel_r,pitch,roll,heading,vs,hp,map2,aux1,aux2,aux3\n");
    let start = 1_772_546_700i64 + i64::from(number) * 20_000;
    for s in 0..ROWS {
        let s = f64::from(s);
        let (rpm, mp, kt, ft) = match s {
            _ if s < 400.0 => (1100.0, 12.0, 8.0, 0.0),
            _ if s < 1000.0 => (2680.0, 28.0, 95.0, (s - 400.0) * 10.0),
            _ if s < 4400.0 => (2400.0, 24.0, 150.0, 6000.0),
            _ if s < 5100.0 => (2300.0, 18.0, 140.0, 6000.0 - (s - 4400.0) * 8.0),
            _ => (1000.0, 11.0, 9.0, 400.0),
        };
        let at = chrono::DateTime::from_timestamp(start + s as i64, 0).unwrap();
        write!(out, "{}", at.format("%Y-%m-%dT%H:%M:%SZ")).unwrap();
        write!(
            out,
            ",{:.0},{:.1},{:.1},{:.0},{:.0},{:.0}",
            rpm + noise(8.0),
            mp + noise(0.1),
            mp * 0.6 + noise(0.1),
            mp * 3.0,
            180.0 + noise(1.0),
            60.0 + noise(1.0)
        )
        .unwrap();
        for i in 0..6 {
            write!(out, ",{:.0}", 330.0 + f64::from(i) * 8.0 + mp + noise(1.0)).unwrap();
        }
        for i in 0..6 {
            write!(out, ",{:.0}", 1300.0 + f64::from(i) * 15.0 + noise(4.0)).unwrap();
        }
        write!(
            out,
            ",{:.1},{:.1},{:.0},{:.0},{:.4},{:.4}",
            kt + noise(1.0),
            kt + noise(1.0),
            5000.0 + ft + noise(4.0),
            60.0 - ft * 0.0036,
            40.0 + s * 0.0005,
            -105.0 - s * 0.0005
        )
        .unwrap();
        for i in 0..15 {
            write!(out, ",{:.1}", 12.0 + f64::from(i) * 7.0 + noise(3.0)).unwrap();
        }
        out.push('\n');
    }
    fs::write(folder.join(format!("{number:04}.csv")), &out).unwrap();
    out.len()
}
