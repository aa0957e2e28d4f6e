#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::report::sample;

/// PNG files open with these eight bytes, then IHDR with width and height (ISO/IEC 15948, 5.2 and 11.2.2).
#[test]
fn a_small_chart_is_a_png_of_twice_its_size() {
    let bytes = spark_png(&sample::engine("N0417H", "left", "H-2207", 0.12)).unwrap();
    assert_eq!(&bytes[..8], &[0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A]);
    let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    assert_eq!((number(16), number(20)), (264, 88));
    assert!(bytes.len() < 12_000, "{} bytes", bytes.len());
}

#[test]
fn nothing_to_draw_is_said_not_drawn() {
    let mut engine = sample::engine("N0417H", "left", "H-2207", 0.12);
    engine.points.clear();
    assert!(spark_png(&engine).is_err());
    assert_eq!(spark_words(&engine), "N0417H left: no rate yet");
}

#[test]
fn every_large_chart_draws_as_png_and_svg() {
    let m = sample::morning();
    let (seating, doubled) = (&m.engines[0], &m.engines[1]);
    for svg in
        [consumption_svg(doubled, &m.alerts).unwrap(), statistic_svg(doubled).unwrap(), break_in_svg(seating).unwrap()]
    {
        assert!(svg.starts_with("<svg") && (svg.contains("qt/h") || svg.contains("ln of the statistic")));
        assert!(!svg.contains("NaN"));
    }
    for png in
        [consumption_png(doubled, &m.alerts).unwrap(), statistic_png(doubled).unwrap(), break_in_png(seating).unwrap()]
    {
        assert!(png.len() > 5_000 && png.len() < 50_000, "{}", png.len());
    }
    assert!(consumption_svg(doubled, &m.alerts).unwrap().contains("\n11\n"), "the alert's number stands at its mark");
    assert!(break_in_svg(doubled).is_err());
}

#[test]
#[ignore = "writes pictures to look at"]
fn look() {
    let folder = std::path::PathBuf::from(std::env::var("LOOK").unwrap());
    let m = sample::morning();
    std::fs::write(folder.join("consumption.png"), consumption_png(&m.engines[1], &m.alerts).unwrap()).unwrap();
    std::fs::write(folder.join("statistic.png"), statistic_png(&m.engines[1]).unwrap()).unwrap();
    std::fs::write(folder.join("break-in.png"), break_in_png(&m.engines[0]).unwrap()).unwrap();
}
