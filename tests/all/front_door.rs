//! Logs of a second simulator, through the front door: a doubled rate is found, and soon. The figures themselves are
//! measured by `just detection`; here a few engines keep the way there open.

use std::process::Command;

use crate::{support, tools};

#[test]
fn a_doubling_in_logs_of_another_simulator_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let told = folder.path().join("told.json");
    let python = tools::program("python3", "python3");
    let engines = 24.0;
    let run = [support::PROGRAM, "--engines", "24", "--seed", "suite", "--only", "brief", "--json"];
    tools::must(Command::new(python).arg(tools::helper("front_door.py")).args(run).arg(&told));
    let told: serde_json::Value = serde_json::from_slice(&std::fs::read(told).unwrap()).unwrap();
    let lines = told["results"].as_array().unwrap();
    // Bounds some standard errors beyond the figures of README, for so few engines.
    for (line, kind, median, ninety) in [(&lines[0], "levels", 15.0, 35.0), (&lines[1], "flights", 23.0, 46.0)] {
        let number = |name: &str| line[name].as_f64().unwrap();
        assert_eq!(line["kind"], kind);
        assert!(number("median") <= median && number("ninety") <= ninety, "{line}");
        assert!(number("median") >= 2.0, "nobody can know so soon: {line}");
        let silent = number("missed") + number("rise open") + number("fall open");
        assert!(silent * engines / 100.0 < 4.5, "{line}");
    }
}
