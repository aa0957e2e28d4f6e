//! Recordings made for tests, with the truth beside them.

use std::fmt::Write;

/// What an aircraft and its engine do for a while, in a straight line from what was before.
#[derive(Clone, Copy, Debug)]
pub struct Leg {
    pub seconds: f64,
    pub rpm: f64,
    pub manifold: f64,
    pub kt: f64,
    pub alt: f64,
    pub cht: f64,
    /// Reach rpm, manifold pressure and speed at once instead of gradually.
    pub step: bool,
}

/// A leg; heights and temperatures change in a straight line, the rest at once.
pub fn leg(seconds: f64, rpm: f64, manifold: f64, kt: f64, alt: f64, cht: f64) -> Leg {
    Leg { seconds, rpm, manifold, kt, alt, cht, step: true }
}

/// A made recording's settings.
#[derive(Clone, Debug)]
pub struct Made {
    /// `2026-03-03T14:05:00Z` as milliseconds.
    pub start_ms: i64,
    pub every_s: f64,
    pub columns: Vec<&'static str>,
    pub field_ft: f64,
    pub prefix: &'static str,
}

impl Default for Made {
    fn default() -> Self {
        Self {
            start_ms: 1_772_546_700_000,
            every_s: 1.0,
            columns: vec![
                "rpm",
                "manifold_inhg",
                "cht1_f",
                "cht2_f",
                "ias_kt",
                "gs_kt",
                "alt_ft",
                "oil_temp_f",
                "oil_press_psi",
            ],
            field_ft: 5000.0,
            prefix: "",
        }
    }
}

impl Made {
    /// The recording as a standard monitor file.
    pub fn csv(&self, legs: &[Leg]) -> String {
        let mut out = String::from("time");
        for c in &self.columns {
            let engine = !matches!(*c, "ias_kt" | "gs_kt" | "alt_ft" | "oat_f" | "lat" | "lon");
            write!(out, ",{}{c}", if engine { self.prefix } else { "" }).ok();
        }
        out.push('\n');
        let mut before = leg(0.0, 0.0, 28.0, 0.0, self.field_ft, 60.0);
        let mut at = 0.0;
        let mut sample = 0u32;
        for l in legs {
            let end = at + l.seconds;
            while f64::from(sample) * self.every_s < end - 1e-9 {
                let now = f64::from(sample) * self.every_s;
                let share = (now - at) / l.seconds;
                let between = |a: f64, b: f64| a + (b - a) * share;
                let set = |a: f64, b: f64| if l.step { b } else { between(a, b) };
                let value = |c: &str| match c {
                    "rpm" => set(before.rpm, l.rpm),
                    "manifold_inhg" => set(before.manifold, l.manifold),
                    "ias_kt" | "gs_kt" => set(before.kt, l.kt),
                    "alt_ft" => between(before.alt, l.alt),
                    "cht1_f" => between(before.cht, l.cht),
                    "cht2_f" => between(before.cht, l.cht) - 12.0,
                    "oil_temp_f" => 180.0,
                    "oil_press_psi" => set(before.rpm, l.rpm).min(2000.0) / 33.0,
                    _ => 0.0,
                };
                let ms = self.start_ms + (now * 1000.0).round() as i64;
                let stamp = chrono::DateTime::from_timestamp_millis(ms).unwrap_or_default();
                write!(out, "{}", stamp.format("%Y-%m-%dT%H:%M:%S%.3fZ")).ok();
                for c in &self.columns {
                    write!(out, ",{:.1}", value(c)).ok();
                }
                out.push('\n');
                sample += 1;
            }
            (before, at) = (*l, end);
        }
        out
    }
}

/// Start, taxi, run-up, taxi, roll, climb, cruise, descent, landing, taxi, stop. The seconds of each in
/// the order of [`flight`]'s argument.
pub fn flight(taxi: f64, climb: f64, cruise: f64, descent: f64, taxi_in: f64) -> Vec<Leg> {
    vec![
        leg(20.0, 0.0, 28.0, 0.0, 5000.0, 60.0),
        leg(60.0, 1000.0, 12.0, 0.0, 5000.0, 150.0),
        leg(taxi - 160.0, 1100.0, 12.0, 12.0, 5000.0, 250.0),
        leg(60.0, 1800.0, 16.0, 0.0, 5000.0, 300.0),
        leg(20.0, 1000.0, 12.0, 0.0, 5000.0, 300.0),
        Leg { step: false, ..leg(20.0, 2680.0, 25.0, 49.0, 5000.0, 320.0) },
        leg(climb, 2680.0, 24.0, 90.0, 5000.0 + climb * 10.0, 390.0),
        leg(cruise, 2400.0, 22.0, 140.0, 5000.0 + climb * 10.0, 360.0),
        leg(descent, 2300.0, 18.0, 130.0, 5000.0, 330.0),
        leg(taxi_in, 1000.0, 11.0, 10.0, 5000.0, 280.0),
        leg(40.0, 0.0, 28.0, 0.0, 5000.0, 250.0),
    ]
}
