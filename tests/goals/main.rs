//! Measures the detection goals on simulated logs: `cargo run --release --example goals [-- engines]`.
#![allow(clippy::unwrap_used, reason = "a measuring program")]

mod ceiling;
#[path = "../sim/mod.rs"]
mod sim;

use chrono::{DateTime, Utc};
use cowlwatch::config::Rules;
use cowlwatch::judge::{Kind, consumption};
use sim::charts::classical;
use sim::{Case, Kept};

type Change<'a> = &'a dyn Fn(&mut Case);

fn later() -> DateTime<Utc> {
    DateTime::from_timestamp(4_000_000_000, 0).unwrap()
}

fn quantile(sorted: &[f64], q: f64) -> f64 {
    if sorted.is_empty() { f64::NAN } else { sorted[((sorted.len() as f64 * q) as usize).min(sorted.len() - 1)] }
}

/// A case with a fault, judged, with the engine hours at which the fault began to fly.
fn judged(case: &Case, rules: &Rules) -> (consumption::Followed, f64) {
    let flights = sim::fly(case);
    let followed = consumption::follow(&sim::engine(case, &flights), &[], rules, &[], later());
    let first = flights.iter().find(|f| f.meter - f.hours >= case.fault_at - 1e-6).unwrap();
    (followed, first.meter - first.hours)
}

/// Delay of the first rise after the fault, hours; `None` if not within 50 h, or a rise came before.
fn delays(kept: Kept, rate: f64, ratio: f64, engines: u64, change: &dyn Fn(&mut Case)) -> (Vec<f64>, usize) {
    let rules = Rules::default();
    let mut found = Vec::new();
    let mut missed = 0;
    for seed in 0..engines {
        let mut case = Case::realistic(seed + 1, kept);
        case.rate = rate;
        case.fault_at = 200.0 + (seed % 50) as f64;
        case.hours = case.fault_at + 60.0;
        case.ratio = ratio;
        change(&mut case);
        let (followed, onset) = judged(&case, &rules);
        let kind = if ratio > 1.0 { Kind::OilRateRise } else { Kind::OilRateFall };
        let mut rises = followed.findings.iter().filter(|f| f.kind == kind);
        match rises.find(|f| f.hours.unwrap() > onset) {
            Some(f) if f.hours.unwrap() - onset <= 50.0 => found.push(f.hours.unwrap() - onset),
            _ => missed += 1,
        }
    }
    found.sort_by(f64::total_cmp);
    (found, missed)
}

fn tell_delays(kept: Kept, rate: f64, ratio: f64, engines: u64) {
    let (found, missed) = delays(kept, rate, ratio, engines, &|_| {});
    println!(
        "{kept:?} {rate:.3} qt/h x{ratio}: median {:.1} h, 90 % {:.1} h ({:.1} quarts), missed {:.1} %",
        quantile(&found, 0.5),
        quantile(&found, 0.9),
        quantile(&found, 0.9) * rate * ratio,
        100.0 * missed as f64 / engines as f64
    );
}

/// False alarms, coverage and error on healthy engines.
fn healthy(kept: Kept, rate: f64, engines: u64, hours: f64, setting: f64, change: &dyn Fn(&mut Case)) {
    let mut rules = Rules::default();
    rules.consumption.false_alarms_per_1000_h = setting;
    let (mut rises, mut falls, mut flown, mut unlogged) = (0, 0, 0.0, 0);
    let (mut covered, mut asked, mut early, mut late) = (0, 0, Vec::new(), Vec::new());
    for seed in 0..engines {
        let mut case = Case::realistic(seed + 1_000_001, kept);
        case.rate = rate;
        case.hours = hours;
        change(&mut case);
        let flights = sim::fly(&case);
        let engine = sim::engine(&case, &flights);
        let followed = consumption::follow(&engine, &[], &rules, &[], later());
        rises += followed.findings.iter().filter(|f| f.kind == Kind::OilRateRise).count();
        falls += followed.findings.iter().filter(|f| f.kind == Kind::OilRateFall).count();
        unlogged += followed.findings.iter().filter(|f| f.kind == Kind::AdditionNotLogged).count();
        flown += hours;
        let mut quarts = 0.0;
        let mut next = 3.0;
        let mut at5 = false;
        let mut at20 = false;
        for f in &flights {
            quarts += f.burnt;
            let point = followed.points.iter().rev().find(|p| p.hours <= f.meter + 1e-6);
            let Some(point) = point.filter(|_| quarts >= next) else { continue };
            next += 4.0;
            let r = point.rate;
            asked += 1;
            covered += usize::from(r.low <= f.rate && f.rate <= r.high);
            let flown = flights.iter().take_while(|g| g.meter <= f.meter);
            let (hours, mixed) = flown.fold((0.0, 0.0), |a, g| (a.0 + g.hours, a.1 + g.hours * g.factor));
            let error = r.qt_per_h / (f.rate * mixed / hours) - 1.0;
            if !at5 && quarts >= 5.0 {
                at5 = true;
                early.push(error * error);
            }
            if !at20 && quarts >= 20.0 {
                at20 = true;
                late.push(error * error);
            }
        }
    }
    let root = |v: &[f64]| 100.0 * (v.iter().sum::<f64>() / v.len() as f64).sqrt();
    println!(
        "{kept:?} {rate:.3} qt/h healthy {flown:.0} h: rises {:.3}, falls {:.3}, both {:.3} per 1000 h (setting {}); not logged {unlogged}; 90 % interval covers {:.1} %; RMSE after 5 qt {:.1} %, 20 qt {:.1} %",
        1000.0 * rises as f64 / flown,
        1000.0 * falls as f64 / flown,
        1000.0 * f64::from(rises as u32 + falls as u32) / flown,
        rules.consumption.false_alarms_per_1000_h,
        100.0 * covered as f64 / asked as f64,
        root(&early),
        root(&late)
    );
}

fn explore(engines: u64) {
    let cases: [(&str, Change); 7] = [
        ("all", &|_| {}),
        ("no service", &|c| c.service_spread = 0.0),
        ("no service, not logged", &|c| {
            c.service_spread = 0.0;
            c.service_logged = false;
        }),
        ("no gross", &|c| c.gross = 0.0),
        ("no unlogged", &|c| c.unlogged = 0.0),
        ("flight spread 0.1", &|c| c.flight_spread = 0.1),
        ("service not logged", &|c| c.service_logged = false),
    ];
    for (name, change) in cases {
        for kept in [Kept::Levels, Kept::Flights] {
            let (found, missed) = delays(kept, 0.125, 2.0, engines, change);
            println!(
                "{name}: {kept:?} median {:.1} 90 % {:.1} missed {:.1} %",
                quantile(&found, 0.5),
                quantile(&found, 0.9),
                100.0 * missed as f64 / engines as f64
            );
        }
    }
}

fn why(engines: u64) {
    let cases: [(&str, Change); 6] = [
        ("all", &|_| {}),
        ("no service", &|c| c.service_spread = 0.0),
        ("no gross", &|c| c.gross = 0.0),
        ("no unlogged", &|c| c.unlogged = 0.0),
        ("flight spread 0.1", &|c| c.flight_spread = 0.1),
        ("no wear", &|c| c.wear = 0.0),
    ];
    for (name, change) in cases {
        println!("{name}:");
        for kept in [Kept::Levels, Kept::Flights] {
            healthy(kept, 1.0 / 12.0, engines, 1000.0, 0.3, change);
        }
    }
}

fn limits(engines: u64) {
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        for setting in [0.3, 0.6, 1.2, 2.4] {
            for rate in [1.0 / 20.0, 1.0 / 12.0, 1.0 / 8.0, 1.0 / 5.0, 1.0 / 3.0] {
                healthy(kept, rate, engines, 1000.0, setting, &|_| {});
            }
        }
    }
}

/// Hours per quart between additions, as logged, with the engine hours at which each ended.
fn intervals(flights: &[sim::Flight]) -> Vec<(f64, f64)> {
    let mut last = None;
    let mut out = Vec::new();
    for f in flights.iter().filter(|f| f.added_written > 0.0) {
        let at = f.meter - f.hours;
        if let Some((then, quarts)) = last {
            let gap: f64 = at - then;
            if gap > 0.0 {
                out.push((at, gap / quarts));
            }
        }
        last = Some((at, f.added_written));
    }
    out
}

/// The classical charts at limits that give them the same false alarms: delay and misses for a doubling at 8 h/qt.
fn tell_classical(engines: u64) {
    for which in [0, 1] {
        let name = ["interval CUSUM", "gamma likelihood ratio"][which];
        let limit = (4..60).map(|l| f64::from(l) * 0.5).find(|l| {
            let alarms: usize = (0..engines)
                .map(|seed| {
                    let mut case = Case::realistic(7_000_001 + seed, Kept::Flights);
                    case.hours = 1000.0;
                    classical(&intervals(&sim::fly(&case)), *l, *l)[which].len()
                })
                .sum();
            alarms as f64 / engines as f64 <= 0.3
        });
        let Some(limit) = limit else { continue };
        let (mut found, mut missed) = (Vec::new(), 0);
        for seed in 0..engines {
            let mut case = Case::realistic(seed + 1, Kept::Flights);
            case.fault_at = 200.0 + (seed % 50) as f64;
            (case.hours, case.ratio) = (case.fault_at + 60.0, 2.0);
            let alarms = &classical(&intervals(&sim::fly(&case)), limit, limit)[which];
            match alarms.iter().map(|a| a - case.fault_at).find(|d| (0.0..=50.0).contains(d)) {
                Some(delay) => found.push(delay),
                None => missed += 1,
            }
        }
        found.sort_by(f64::total_cmp);
        println!(
            "{name} (limit {limit}, same false alarms) x2: median {:.1} h, 90 % {:.1} h, missed {:.1} %",
            quantile(&found, 0.5),
            quantile(&found, 0.9),
            100.0 * missed as f64 / engines as f64
        );
    }
}

/// Builds still far from settled at 50 h that were called stabilised by then, and well seated ones that were by 60 h.
fn break_in(engines: u64) {
    for (name, b, tau, by) in [("badly seated", 2.0, 60.0, 50.0), ("well seated", 2.0, 9.0, 60.0)] {
        for kept in [Kept::Levels, Kept::Flights] {
            let (mut called, mut falls, mut rises) = (0, 0, 0);
            for seed in 0..engines {
                let mut case = Case::realistic(3_000_001 + seed, kept);
                case.break_in = Some((b, tau));
                case.hours = by;
                let engine = sim::engine(&case, &sim::fly(&case));
                let followed = consumption::follow(&engine, &[], &Rules::default(), &[], later());
                let any = |kind| usize::from(followed.findings.iter().any(|f| f.kind == kind));
                called += any(Kind::BreakInStabilised);
                falls += any(Kind::OilRateFall);
                rises += any(Kind::OilRateRise);
            }
            let share = |n: usize| 100.0 * n as f64 / engines as f64;
            println!(
                "{name} (excess {b}, time constant {tau} h), {kept:?}: called stabilised by {by} h {:.1} %, falls {:.1} %, rises {:.1} %",
                share(called),
                share(falls),
                share(rises)
            );
        }
    }
}

/// Operating characteristic of rises at one rate: false alarms per 1000 h against delay, over settings.
fn roc(engines: u64, rate: f64, ratio: f64, change: &dyn Fn(&mut Case)) {
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        let mut at: Vec<[f64; 5]> = Vec::new();
        for setting in [0.1, 0.2, 0.4, 0.8, 1.6] {
            let mut rules = Rules::default();
            rules.consumption.false_alarms_per_1000_h = setting;
            let mut rises = 0;
            for seed in 0..engines {
                let mut case = Case::realistic(20_000_001 + seed, kept);
                (case.rate, case.hours) = (rate, 1000.0);
                change(&mut case);
                let engine = sim::engine(&case, &sim::fly(&case));
                let f = consumption::follow(&engine, &[], &rules, &[], later());
                rises += f.findings.iter().filter(|f| f.kind == Kind::OilRateRise).count();
            }
            let (mut found, mut missed) = (Vec::new(), 0);
            for seed in 0..engines {
                let mut case = Case::realistic(30_000_001 + seed, kept);
                case.rate = rate;
                case.fault_at = 200.0 + (seed % 50) as f64;
                case.hours = case.fault_at + 60.0;
                case.ratio = ratio;
                change(&mut case);
                let (followed, onset) = judged(&case, &rules);
                let mut rises = followed.findings.iter().filter(|f| f.kind == Kind::OilRateRise);
                let early = followed.findings.iter().any(|f| f.kind == Kind::OilRateRise && f.hours.unwrap() <= onset);
                match rises.find(|f| f.hours.unwrap() > onset) {
                    Some(f) if f.hours.unwrap() - onset <= 50.0 => found.push(f.hours.unwrap() - onset),
                    _ => {
                        missed += usize::from(!early);
                        if !early {
                            found.push(50.0);
                        }
                    }
                }
            }
            found.sort_by(f64::total_cmp);
            at.push([
                rises as f64 / engines as f64,
                quantile(&found, 0.5),
                quantile(&found, 0.9),
                found.iter().sum::<f64>() / found.len() as f64,
                100.0 * missed as f64 / found.len() as f64,
            ]);
        }
        let want: f64 = 1.0 / 3.0;
        let k = at.windows(2).position(|w| w[1][0] >= want).unwrap_or(at.len() - 2);
        let (a, b) = (at[k], at[k + 1]);
        let share = ((want / a[0].max(1e-3)).ln() / (b[0] / a[0].max(1e-3)).ln()).clamp(-0.5, 1.5);
        let mid: Vec<f64> = (1..5).map(|i| a[i] + share * (b[i] - a[i])).collect();
        println!(
            "{kept:?} {rate:.3} x{ratio} at one false rise per 3000 h: median {:.2}, 90 % {:.2}, mean {:.2}, missed {:.2} %",
            mid[0], mid[1], mid[2], mid[3]
        );
    }
}

/// Where nobody writes the service down: false alarms, and delays at equal false rises.
fn unnamed(engines: u64) {
    let cases: [(&str, Change); 3] = [
        ("one service only, not named", &|c| (c.service_spread, c.service_logged) = (0.0, false)),
        ("services 25 % apart, not named", &|c| c.service_logged = false),
        ("the same, named", &|_| {}),
    ];
    for (name, change) in cases {
        println!("{name}:");
        for kept in [Kept::Levels, Kept::Flights] {
            for rate in [1.0 / 20.0, 1.0 / 8.0, 1.0 / 3.0] {
                healthy(kept, rate, engines, 1000.0, 0.667, change);
            }
        }
        roc(engines, 0.125, 2.0, change);
    }
}

/// Time to follow a long life.
fn speed() {
    let mut case = Case::realistic(9, Kept::Levels);
    case.hours = 4200.0;
    let flights = sim::fly(&case);
    let engine = sim::engine(&case, &flights);
    let rules = Rules::default();
    let start = std::time::Instant::now();
    let rounds = 20;
    for _ in 0..rounds {
        std::hint::black_box(consumption::follow(&engine, &[], &rules, &[], later()));
    }
    println!("{} flights: {:.1} ms", flights.len(), start.elapsed().as_secs_f64() * 1000.0 / f64::from(rounds));
}

fn main() {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let engines: u64 = given.first().map_or(300, |n| n.parse().unwrap());
    match given.get(1).map(String::as_str) {
        None => all(engines),
        Some("break-in") => {
            speed();
            break_in(engines);
        }
        Some("ceiling") => ceiling::tell(engines),
        Some("explore") => explore(engines),
        Some("healthy") => {
            for kept in [Kept::Levels, Kept::Flights] {
                for rate in [0.05, 0.125, 0.333] {
                    healthy(kept, rate, engines, 600.0, 0.667, &|_| {});
                }
            }
        }
        Some("limits") => limits(engines),
        Some("creep") => creep(engines),
        Some("roc") => {
            for (rate, ratio) in [(0.125, 2.0), (0.125, 1.5), (0.05, 2.0), (0.25, 2.0)] {
                roc(engines, rate, ratio, &|_| {});
            }
        }
        Some("twins") => twins(engines),
        Some("unnamed") => unnamed(engines),
        Some("when") => when(engines),
        Some("why") => why(engines),
        Some(other) => println!("no program {other}"),
    }
}

/// Delays, false alarms and break-in, by kind of log and rate.
fn all(engines: u64) {
    tell_classical(engines);
    break_in(engines);
    speed();
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        tell_delays(kept, 0.125, 2.0, engines);
        tell_delays(kept, 0.125, 1.5, engines);
        tell_delays(kept, 0.125, 0.5, engines);
    }
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        for rate in [1.0 / 20.0, 1.0 / 12.0, 1.0 / 8.0, 1.0 / 5.0, 1.0 / 3.0] {
            healthy(kept, rate, engines, 1000.0, 0.3, &|_| {});
        }
    }
}

/// When in a healthy life false rises come, by 50 h.
fn when(engines: u64) {
    let cases: [(&str, Change); 5] = [
        ("all", &|_| {}),
        ("no service", &|c| {
            c.service_spread = 0.0;
            c.service_logged = false;
        }),
        ("no gross", &|c| c.gross = 0.0),
        ("no unlogged", &|c| c.unlogged = 0.0),
        ("no wear", &|c| c.wear = 0.0),
    ];
    for (name, change) in cases {
        for kept in [Kept::Levels, Kept::Flights] {
            let mut rules = Rules::default();
            rules.consumption.false_alarms_per_1000_h = 0.42;
            let mut bins = [0_u32; 20];
            for seed in 0..engines {
                let mut case = Case::realistic(20_000_001 + seed, kept);
                case.hours = 999.0;
                change(&mut case);
                let engine = sim::engine(&case, &sim::fly(&case));
                let f = consumption::follow(&engine, &[], &rules, &[], later());
                for f in f.findings.iter().filter(|f| f.kind == Kind::OilRateRise) {
                    bins[((f.hours.unwrap() / 50.0) as usize).min(19)] += 1;
                }
            }
            println!("{kept:?} {name}: {bins:?} total {}", bins.iter().sum::<u32>());
        }
    }
}

/// A doubling over 1500 h, and the wear of a sound engine: told as creep, and as a sudden rise.
fn creep(engines: u64) {
    for wear in [1.0 / 1500.0, 2e-4] {
        let (mut crept, mut rises) = (0, 0);
        for seed in 0..engines {
            let mut case = Case::realistic(seed, Kept::Levels);
            (case.wear, case.hours) = (wear, 1500.0);
            let engine = sim::engine(&case, &sim::fly(&case));
            let followed = consumption::follow(&engine, &[], &Rules::default(), &[], later());
            crept += usize::from(followed.findings.iter().any(|f| f.kind == Kind::OilRateCreep));
            rises += followed.findings.iter().filter(|f| f.kind == Kind::OilRateRise).count();
        }
        println!("x{:.1} after 1500 h: creep told of {crept} of {engines}, sudden rises {rises}", 1.0 + wear * 1500.0);
    }
}

/// Twins, one of whose engines begins to burn twice as much: named and unnamed services, found and mates accused.
fn twins(engines: u64) {
    for kept in [Kept::Levels, Kept::Flights] {
        for named in [true, false] {
            let mut rules = Rules::default();
            rules.consumption.false_alarms_per_1000_h = 0.667;
            let (mut found, mut missed, mut accused, mut early, mut flown) = (Vec::new(), 0, 0, 0, 0.0);
            for seed in 0..engines {
                let mut case = Case::realistic(40_000_001 + seed, kept);
                case.service_logged = named;
                case.fault_at = 200.0 + (seed % 50) as f64;
                (case.hours, case.ratio) = (case.fault_at + 60.0, 2.0);
                let ([engine, mate], onset) = sim::twin(&case);
                let ours = consumption::follow(&engine, &[&mate], &rules, &[], later());
                let theirs = consumption::follow(&mate, &[&engine], &rules, &[], later());
                let changes = |f: &consumption::Followed| -> Vec<(Kind, f64)> {
                    let is = |k| matches!(k, Kind::OilRateRise | Kind::OilRateFall);
                    f.findings.iter().filter(|f| is(f.kind)).map(|f| (f.kind, f.hours.unwrap())).collect()
                };
                let (ours, theirs) = (changes(&ours), changes(&theirs));
                early += ours.iter().chain(&theirs).filter(|(k, h)| *k == Kind::OilRateRise && *h <= onset).count();
                flown += 2.0 * onset;
                match ours.iter().find(|(k, h)| *k == Kind::OilRateRise && *h > onset) {
                    Some((_, h)) if *h - onset <= 50.0 => found.push(h - onset),
                    _ => missed += 1,
                }
                accused += usize::from(theirs.iter().any(|(_, h)| *h > onset && *h <= onset + 50.0));
            }
            found.sort_by(f64::total_cmp);
            println!(
                "{kept:?} twins, service {}: median {:.1} h, 90 % {:.1} h, mean {:.1}, missed {:.1} %, mate accused {:.1} %, false rises before {:.2} per 1000 h",
                if named { "named" } else { "not named" },
                quantile(&found, 0.5),
                quantile(&found, 0.9),
                found.iter().sum::<f64>() / found.len() as f64,
                100.0 * missed as f64 / engines as f64,
                100.0 * accused as f64 / engines as f64,
                1000.0 * early as f64 / flown
            );
        }
    }
}
