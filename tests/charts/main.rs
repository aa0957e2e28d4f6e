//! Runs the classical charts on logs of somebody else's: limits and, for each log, `[engine hours, hours per quart]` of
//! every interval between additions as JSON on standard input; engine hours of each alarm, by chart, limit and log, out.
#![allow(clippy::unwrap_used, reason = "a measuring program")]

#[path = "../sim/charts.rs"]
mod charts;

use serde::Deserialize;

#[derive(Debug, Deserialize)]
struct Asked {
    limits: Vec<f64>,
    logs: Vec<Vec<(f64, f64)>>,
}

fn main() {
    let asked: Asked = serde_json::from_reader(std::io::stdin()).unwrap();
    let mut said = [Vec::new(), Vec::new()];
    for limit in asked.limits {
        let found: Vec<_> = asked.logs.iter().map(|log| charts::classical(log, limit, limit)).collect();
        for (which, said) in said.iter_mut().enumerate() {
            said.push(found.iter().map(|f| f[which].clone()).collect::<Vec<_>>());
        }
    }
    serde_json::to_writer(std::io::stdout(), &said).unwrap();
}
