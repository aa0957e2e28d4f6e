//! What an engine monitor writes while a run goes on: a small model of pressures and temperatures, and two layouts.

use chrono::{NaiveDateTime, TimeZone};

use super::flights::FIELD_FT;
use super::models::{Model, model};
use super::random::Random;

/// A stretch of a run with steady settings.
#[derive(Clone, Copy)]
pub struct Step {
    pub seconds: f64,
    pub rpm: f64,
    /// inHg asked for; the air may not give it. 0: idle.
    pub manifold: f64,
    pub fpm: f64,
    pub kt: f64,
    /// °F by which the heads tend to a lower temperature than usual at this power.
    pub extra_cooling: f64,
    pub ground: bool,
    /// Flies away from the field rather than round it.
    pub away: bool,
}

/// A run to be recorded.
pub struct Run {
    pub steps: Vec<Step>,
    pub every_s: f64,
    /// The oil never gets warm.
    pub cold: bool,
    /// Highest head temperature reached by a run on the ground, °F.
    pub cht_to: Option<f64>,
}

struct State {
    rpm: f64,
    manifold: f64,
    altitude: f64,
    kt: f64,
    cht: f64,
    oil: f64,
    away_nm: f64,
}

/// Air pressure by the standard atmosphere (U.S. Standard Atmosphere 1976), inHg.
fn air_inhg(altitude_ft: f64) -> f64 {
    29.921 * libm::pow(1.0 - 6.875_59e-6 * altitude_ft, 5.25588)
}

/// Air temperature at the field by the season and the hour, °F.
fn field_oat(start: NaiveDateTime) -> f64 {
    use chrono::{Datelike, Timelike};
    let year = libm::cos(std::f64::consts::TAU * (f64::from(start.ordinal()) - 205.0) / 365.0);
    48.0 + 26.0 * year + 0.8 * (f64::from(start.hour()) - 12.0)
}

fn towards(value: f64, target: f64, seconds: f64, lag_s: f64) -> f64 {
    target + (value - target) * libm::exp(-seconds / lag_s)
}

fn advance(state: &mut State, step: &Step, model: &Model, run: &Run, oat_field: f64, dt: f64) {
    let asked = if step.manifold == 0.0 { 11.5 + (step.rpm - 1000.0) / 400.0 } else { step.manifold };
    let free = if model.turbocharged { model.manifold_max } else { air_inhg(state.altitude) - 0.7 };
    let slew = |now: f64, to: f64, per_s: f64| now + (to - now).clamp(-per_s * dt, per_s * dt);
    state.rpm = slew(state.rpm, step.rpm, 150.0);
    state.manifold = slew(state.manifold, asked.min(free), if step.ground { 4.0 } else { 0.4 });
    if step.ground && step.kt > 50.0 {
        state.manifold = asked.min(free);
        state.rpm = step.rpm;
    }
    state.kt = slew(state.kt, step.kt, 4.0);
    state.altitude = if step.ground { FIELD_FT } else { (state.altitude + step.fpm / 60.0 * dt).max(FIELD_FT) };
    state.away_nm = if step.away {
        state.away_nm + state.kt * dt / 3600.0 * if step.fpm < 0.0 { -1.0 } else { 1.0 }
    } else {
        state.away_nm
    }
    .max(0.0);
    let oat = oat_field - 3.5 * (state.altitude - FIELD_FT) / 1000.0;
    let percent = model.percent(state.rpm, state.manifold, state.altitude);
    if step.ground && step.kt < 50.0 {
        let seconds: f64 = run.steps.iter().map(|s| s.seconds).sum();
        let target = run.cht_to.map_or(335.0, |top| oat + (top - oat) / (1.0 - libm::exp(-seconds / 500.0)));
        state.cht = towards(state.cht, target, dt, 500.0);
    } else {
        let target = 332.0 + 0.3 * (oat - 40.0) + 70.0 * (percent - 65.0) / 35.0 - step.extra_cooling;
        state.cht = towards(state.cht, target, dt, 110.0);
    }
    let warm = if run.cold { 138.0 } else { 168.0 + 0.22 * percent };
    state.oil = towards(state.oil, warm, dt, if run.cold { 420.0 } else { 480.0 });
}

/// One engine's sample, in the order of [`CHANNELS`].
fn sample(state: &State, model: &Model, random: &mut Random) -> Vec<f64> {
    let percent = model.percent(state.rpm, state.manifold, state.altitude);
    let flow = (percent / 100.0 * model.rated_hp / 12.6).max(1.4);
    let press = 28.0 + 34.0 * (state.rpm / 2400.0).min(1.05) - 0.10 * (state.oil - 180.0);
    let mut values = vec![
        (state.rpm / 10.0 + 0.6 * random.normal()).round() * 10.0,
        state.manifold + 0.05 * random.normal(),
        flow + 0.08 * random.normal(),
        state.oil + 0.3 * random.normal(),
        press + 0.5 * random.normal(),
    ];
    // The third cylinder is the hottest and reads what the story says.
    let spread = [-18.0, -9.0, 0.0, -13.0, -6.0, -22.0];
    for offset in spread.iter().take(model.cylinders) {
        let share = ((state.cht - 120.0) / 220.0).clamp(0.0, 1.0);
        values.push(state.cht + offset * share + 0.3 * random.normal());
    }
    values
}

/// Seconds, per-engine values, then speed, height, air temperature and distance.
type Row = (f64, Vec<Vec<f64>>, [f64; 4]);

/// All samples of a run.
fn samples(engines: &[(&str, &str)], start: NaiveDateTime, run: &Run) -> Vec<Row> {
    let oat_field = field_oat(start);
    let mut random = Random::of(engines[0].1, start.and_utc().timestamp());
    let models: Vec<&Model> = engines.iter().map(|e| model(e.1)).collect();
    let cold = State {
        rpm: 800.0,
        manifold: 14.0,
        altitude: FIELD_FT,
        kt: 0.0,
        cht: oat_field,
        oil: oat_field + 12.0,
        away_nm: 0.0,
    };
    let mut states: Vec<State> = models.iter().map(|_| State { ..cold }).collect();
    let mut rows = Vec::new();
    let mut clock = 0.0;
    for step in &run.steps {
        let mut left = step.seconds;
        while left > 0.0 {
            for (state, model) in states.iter_mut().zip(&models) {
                advance(state, step, model, run, oat_field, run.every_s);
            }
            let all = states.iter().zip(&models).map(|(s, m)| sample(s, m, &mut random)).collect();
            let first = &states[0];
            let oat = oat_field - 3.5 * (first.altitude - FIELD_FT) / 1000.0;
            rows.push((
                clock,
                all,
                [first.kt + 0.4 * random.normal(), first.altitude + 4.0 * random.normal(), oat, first.away_nm],
            ));
            clock += run.every_s;
            left -= run.every_s;
        }
    }
    rows
}

/// The recording as a file: its name under the aircraft's folder, and its bytes.
pub fn file(tail: &str, engines: &[(&str, &str)], start: NaiveDateTime, place: usize, run: &Run) -> (String, Vec<u8>) {
    let rows = samples(engines, start, run);
    let name = if place == 0 { "ground".into() } else { place.to_string() };
    if tail == "N05KM" {
        let text = semicolons(engines, start, &rows);
        return (format!("monitor/LOG{}-{name}.txt", start.format("%y%m%d")), windows_1252(&text));
    }
    let text = standard(engines, start, &rows, tail == "N02KM");
    (format!("monitor/{}/{}-{name}.csv", start.format("%Y"), start.format("%Y-%m-%d")), text.into_bytes())
}

/// The standard layout. `utc`: stamps in UTC (and where the aircraft is), else local.
fn standard(engines: &[(&str, &str)], start: NaiveDateTime, rows: &[Row], utc: bool) -> String {
    let mut text = String::from("time");
    for (seat, name) in engines {
        let prefix = if seat.is_empty() { String::new() } else { format!("{seat}.") };
        for channel in ["rpm", "manifold_inhg", "fuel_flow_gph", "oil_temp_f", "oil_press_psi"] {
            text += &format!(",{prefix}{channel}");
        }
        for cylinder in 1..=model(name).cylinders {
            text += &format!(",{prefix}cht{cylinder}_f");
        }
    }
    text += if utc { ",ias_kt,alt_ft,oat_f,lat,lon\n" } else { ",ias_kt,alt_ft,oat_f\n" };
    let start_utc = chrono_tz::America::Denver.from_local_datetime(&start).earliest().map_or(start, |t| t.naive_utc());
    for (seconds, engines, [kt, altitude, oat, away]) in rows {
        let after = chrono::Duration::seconds(*seconds as i64);
        text += &if utc {
            (start_utc + after).format("%Y-%m-%dT%H:%M:%SZ").to_string()
        } else {
            (start + after).format("%Y-%m-%dT%H:%M:%S").to_string()
        };
        for values in engines {
            for (place, value) in values.iter().enumerate() {
                text += &if place == 1 || place == 2 { format!(",{value:.1}") } else { format!(",{value:.0}") };
            }
        }
        text += &format!(",{:.0},{altitude:.0},{oat:.0}", kt.max(0.0));
        if utc {
            text += &format!(",{:.4},{:.4}", 39.6 + away / 60.0, -109.2);
        }
        text.push('\n');
    }
    text
}

/// Another recorder's way: two lines of preamble, semicolons, decimal commas, °C, date and time apart.
fn semicolons(engines: &[(&str, &str)], start: NaiveDateTime, rows: &[Row]) -> String {
    let celsius = |f: f64| (f - 32.0) / 1.8;
    let comma = |value: f64, places: usize| format!("{value:.places$}").replace('.', ",");
    let mut text = String::from("recorder memory dump;unit 7\r\nörtliche Zeit\r\n");
    text += "date;time;eng rpm;MAP;flow;oil °C;oil psi";
    for cylinder in 1..=model(engines[0].1).cylinders {
        text += &format!(";head {cylinder} °C");
    }
    text += ";speed;height\r\n";
    for (seconds, engines, [kt, altitude, ..]) in rows {
        let at = start + chrono::Duration::seconds(*seconds as i64);
        text += &at.format("%d.%m.%Y;%H:%M:%S").to_string();
        for (place, value) in engines[0].iter().enumerate() {
            let (value, places) = match place {
                1 | 2 => (*value, 1),
                0 | 4 => (*value, 0),
                _ => (celsius(*value), 1),
            };
            text += &format!(";{}", comma(value, places));
        }
        text += &format!(";{};{}\r\n", comma(kt.max(0.0), 0), comma(*altitude, 0));
    }
    text
}

/// Windows-1252, whose letters used here have the same numbers as in Unicode.
pub fn windows_1252(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect()
}
