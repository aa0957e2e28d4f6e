//! `cowlwatch layout`: what it proposes for sheets and recordings, and what it says of other files.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::fs;
use std::path::Path;

use cowlwatch::records::aircraft::parse;
use cowlwatch::records::layout::Layouts;

use crate::support::run;

const ENGINE: &str = "tail = \"N0417H\"\nmeter = \"tach\"\n";
const TWIN: &str = "[[engine]]\nposition = \"left\"\nserial = \"A\"\nmodel = \"M\"\n\
                    [[engine]]\nposition = \"right\"\nserial = \"B\"\nmodel = \"M\"\n";

/// The proposal without its comments and blanks, and the whole of it.
fn proposed(folder: &Path, file: &str) -> (Vec<String>, String) {
    let out = run(folder, &["layout", "--try", file]);
    let text = String::from_utf8(out.stdout).unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let lines = text.lines().map(|l| l.split("  #").next().unwrap().trim().to_owned());
    (lines.filter(|l| !l.is_empty() && !l.starts_with('#')).collect(), text)
}

#[test]
fn a_recorders_columns_are_placed() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "Dump of unit 4\n\nDate;Time;L eng rpm;R eng rpm;L MP;L head 1;R head 2;L oil temp;L oil press;\
                    L fuel flow (l/h);OAT;IAS (kt);GPS Altitude (m);Volts\n"
        .to_owned();
    for second in 0..60 {
        text +=
            &format!("13.03.2026;09:10:{second:02};2400;2410;28,1;195;198;80;4,5;60,5;5;95;{};28,1\n", 1200 + second);
    }
    fs::write(folder.path().join("dump 2026-03-13.csv"), text).unwrap();
    let (lines, all) = proposed(folder.path(), "dump 2026-03-13.csv");
    assert_eq!(
        lines,
        [
            "[[monitor]]",
            "files = \"dump *.csv\"",
            "skip_lines = 2",
            "delimiter = \";\"",
            "decimal = \",\"",
            "time = { columns = [\"Date\", \"Time\"], format = \"%d.%m.%Y %H:%M:%S\" }",
            "[monitor.columns]",
            "\"left.rpm\" = \"L eng rpm\"",
            "\"right.rpm\" = \"R eng rpm\"",
            "\"left.manifold_inhg\" = \"L MP\"",
            "\"left.cht1_f\" = { column = \"L head 1\", unit = \"c\" }",
            "\"right.cht2_f\" = { column = \"R head 2\", unit = \"c\" }",
            "\"left.oil_temp_f\" = { column = \"L oil temp\", unit = \"c\" }",
            "\"left.oil_press_psi\" = { column = \"L oil press\", unit = \"bar\" }",
            "\"left.fuel_flow_gph\" = { column = \"L fuel flow (l/h)\", unit = \"l_h\" }",
            "oat_f = { column = \"OAT\", unit = \"c\" }",
            "ias_kt = \"IAS (kt)\"",
            "alt_ft = { column = \"GPS Altitude (m)\", unit = \"m\" }",
        ]
    );
    assert!(all.contains("# not placed: \"Volts\" (28,1)"), "{all}");
    assert!(all.contains("# read so: 2 engine runs, 0 rows rejected"), "{all}");
    let (_, problems) = parse(&format!("{ENGINE}{TWIN}{all}"), "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(problems, []);
}

#[test]
fn a_sheet_of_entries_in_own_words_is_placed() {
    let folder = tempfile::tempdir().unwrap();
    let text = "Day,Engine,Tach,What,Qty (qt),Dipstick,Oil type,Hours flown,Comments\n\
                26-Feb-26,,100.5,Flight,,,,1.5,\n\
                27-Feb-26,L,100.5,Oil check,,8.5,,,\n\
                27-Feb-26,R,100.5,Topped up,1,8,AD 50,,\n\
                27-Feb-26,,101.7,Flight,,,,1.2,\n\
                1-Mar-26,L,101.7,Oil change,8,10,AD 50,,due\n\
                1-Mar-26,L,101.7,Polished,,,,,\n";
    fs::write(folder.path().join("log.csv"), text).unwrap();
    fs::write(folder.path().join("aircraft.toml"), format!("{ENGINE}{TWIN}").replace("N0417H", "x")).unwrap();
    let (lines, all) = proposed(folder.path(), "log.csv");
    assert_eq!(
        lines,
        [
            "[[logbook]]",
            "files = \"log.csv\"",
            "date = { columns = [\"Day\"], format = \"%d-%b-%y\" }",
            "[logbook.columns]",
            "entry = \"What\"",
            "hours = \"Tach\"",
            "flight_hours = \"Hours flown\"",
            "quantity = \"Qty (qt)\"",
            "level = \"Dipstick\"",
            "oil = \"Oil type\"",
            "engine = \"Engine\"",
            "remarks = \"Comments\"",
            "[logbook.words.entry]",
            "\"Oil change\" = \"oil-changed\"",
            "\"Oil check\" = \"oil-level\"",
            "\"Topped up\" = \"oil-added\"",
        ]
    );
    assert!(all.contains("# check: the word \"Polished\" in What means no entry yet: add it to words"), "{all}");
    assert!(all.contains("# read so: 5 entries, 1 rows rejected"), "{all}");
    assert!(
        all.contains("#   line 4: 2026-02-27 right oil-added at 100.5 h dipstick 8.00 qt added 1.00 qt AD 50"),
        "{all}"
    );
}

/// Of a text file 8 MiB are looked at, in whole lines: the one that is cut is neither read nor rejected.
#[test]
fn the_beginning_of_a_long_sheet_is_looked_at() {
    let folder = tempfile::tempdir().unwrap();
    let header = "Day,Comments,Tach,What,Dipstick\n";
    let row = format!("27-Feb-26,{},100.5,Oil check,8.5\n", "remark ".repeat(200));
    let whole = (8 * 1024 * 1024 - header.len()) / row.len();
    fs::write(folder.path().join("log.csv"), format!("{header}{}", row.repeat(whole + 10))).unwrap();
    fs::write(folder.path().join("aircraft.toml"), ENGINE.replace("N0417H", "x")).unwrap();
    let (_, all) = proposed(folder.path(), "log.csv");
    assert!(all.contains(&format!("# read so: {whole} entries, 0 rows rejected")), "{all}");
}

#[test]
fn other_files_are_told_what_they_are() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("letter.csv"), "Dear all,\nthe sheet follows.\n").unwrap();
    fs::write(folder.path().join("scan.pdf"), "%PDF-1.7\n").unwrap();
    for (file, code, message) in [
        (
            "letter.csv",
            65,
            "cowlwatch: letter.csv: no row that could be a header with rows of values below it, expected a sheet with one \
             row per flight, per entry or per sample\n",
        ),
        ("scan.pdf", 65, "cowlwatch: scan.pdf: no workbook, expected a workbook saved as .xlsx or .ods\n"),
        ("none.csv", 74, "cowlwatch: none.csv: cannot be read (No such file or directory (os error 2))\n"),
        (".", 64, "cowlwatch: . is no file, expected a logbook sheet or a recording\n"),
    ] {
        let out = run(folder.path(), &["layout", file]);
        assert_eq!(out.status.code(), Some(code), "{file}");
        assert_eq!(String::from_utf8_lossy(&out.stderr), message, "{file}");
    }
}
