//! The classical charts on intervals between additions, from the program's own pieces.

use cowlwatch::judge::consumption::compare::{Cusum, gamma_rise};

/// The classical charts on the same logs: a CUSUM of ln(hours per quart), and a gamma likelihood ratio,
/// learning from the first dozen intervals. Engine hours of their alarms (each restarts the chart).
pub fn classical(intervals: &[(f64, f64)], cusum_limit: f64, gamma_limit: f64) -> [Vec<f64>; 2] {
    let learn = 12.min(intervals.len());
    let logs: Vec<f64> = intervals[..learn].iter().map(|i| i.1.ln()).collect();
    let mean = logs.iter().sum::<f64>() / learn as f64;
    let sd = (logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / learn as f64).sqrt().max(0.2);
    let level = intervals[..learn].iter().map(|i| i.1).sum::<f64>() / learn as f64;
    let (mut chart, mut alarms) = (Cusum::default(), [Vec::new(), Vec::new()]);
    let mut recent = Vec::new();
    for (at, gap) in &intervals[learn..] {
        // Only a rise counts: fewer hours per quart.
        chart.high = 0.0;
        if chart.take((gap.ln() - mean) / sd, 0.5, cusum_limit) {
            alarms[0].push(*at);
            chart = Cusum::default();
        }
        recent.push(*gap);
        if gamma_rise(&recent, 1.0 / (sd * sd), level, 20) > gamma_limit {
            alarms[1].push(*at);
            recent.clear();
        }
    }
    alarms
}
