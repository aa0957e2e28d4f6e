#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::judge::RunLimits;
use crate::records::monitor::Strip;
use crate::records::run::{Peak, Phase, Segment};
use crate::report::sample::at;

/// Ten minutes on the ground, ten of climb, forty of cruise, ten down, ten on the ground.
fn picture() -> RunPicture {
    let ends = [(Phase::TaxiOut, 600.0), (Phase::TakeOff, 640.0), (Phase::Climb, 1200.0), (Phase::Cruise, 3600.0)];
    let ends = ends.into_iter().chain([(Phase::Descent, 4200.0), (Phase::TaxiIn, 4800.0)]);
    let mut from_s = 0.0;
    let segments = ends
        .map(|(phase, to_s)| {
            let segment = Segment { phase, from_s, to_s };
            from_s = to_s;
            segment
        })
        .collect();
    let by_phase = |ground: i16, climb: i16, cruise: i16| {
        (0..240)
            .map(|k| match k * 20 {
                0..600 | 4200.. => Some(ground),
                600..1200 => Some(climb),
                _ => Some(cruise),
            })
            .collect::<Vec<_>>()
    };
    let strip = Strip {
        start: at(3, 6, 7, 57),
        end: at(3, 6, 9, 17),
        basis: AirBasis::Speed,
        segments,
        every_s: 20.0,
        power_pct: by_phase(20, 95, 68),
        power_from: Some("chart".to_owned()),
        cht_f: by_phase(280, 391, 360),
        oil_temp_f: by_phase(150, 185, 190),
        cht_peak_f: Some(Peak { value: 391.0, at_s: 1100.0, cylinder: Some(3) }),
        oil_temp_peak_f: Some(Peak { value: 191.0, at_s: 3000.0, cylinder: None }),
        ..Strip::default()
    };
    RunPicture {
        serial: "E-0201".into(),
        tail: "N0217H".into(),
        position: None,
        file: "N0217H/monitor/a.csv".into(),
        parts: vec![strip],
        limits: RunLimits { cht_f: Some(420.0), oil_temp_f: Some(240.0), power_pct: Some([65.0, 75.0]) },
        latest: true,
        alerts: Vec::new(),
    }
}

#[test]
fn words_for_who_cannot_see_it() {
    assert_eq!(
        run_words(&picture(), chrono_tz::America::Denver),
        "N0217H, E-0201: run of 6 Mar 07:57, 80 min, 20 of them on the ground; power in cruise around 68 %; \
         hottest cylinder (3) up to 391 °F at 08:15; oil up to 191 °F at 08:47"
    );
    let mut inferred = picture();
    inferred.parts[0].basis = AirBasis::Power;
    assert!(run_words(&inferred, chrono_tz::America::Denver).contains("inferred from power alone"));
}

#[test]
fn it_is_drawn_with_everything_and_with_next_to_nothing() {
    let zone = chrono_tz::America::Denver;
    let svg = run_svg(&picture(), zone).unwrap();
    for word in ["cruise", "climb", "ground", "break-in band 65 to 75 %", "hottest cylinder 3, 391 °F", "oil limit 240"]
    {
        assert!(svg.contains(word), "{word}");
    }
    assert!(run_png(&picture(), zone).unwrap().starts_with(b"\x89PNG"));
    let mut bare = picture();
    let strip = &mut bare.parts[0];
    for series in [&mut strip.power_pct, &mut strip.cht_f, &mut strip.oil_temp_f] {
        series.clear();
    }
    (strip.segments, strip.basis, strip.cht_peak_f, strip.oil_temp_peak_f) =
        (Vec::new(), AirBasis::Unknown, None, None);
    assert!(run_svg(&bare, zone).unwrap().contains("cannot be told apart"));
    bare.parts.clear();
    assert!(run_svg(&bare, zone).is_err());
}

/// A recorder that goes on in another file after two minutes: one picture, the gap left open.
#[test]
fn two_parts_are_one_picture() {
    let mut run = picture();
    let mut next = run.parts[0].clone();
    (next.start, next.end) = (at(3, 6, 9, 19), at(3, 6, 10, 39));
    run.parts.push(next);
    assert!((length_min(&run) - 162.0).abs() < 1e-9);
    assert!(run_words(&run, chrono_tz::America::Denver).contains("162 min, 42 of them"));
    assert_eq!(lines(&run, |p| &p.cht_f, 1.0).len(), 2);
}
