#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;

fn messages(text: &str, read_keys: impl Fn(&Keys<'_>)) -> Vec<String> {
    let problems = Problems::new("a.toml");
    let table = read(text, &problems);
    let keys = Keys::new(&table, &problems);
    read_keys(&keys);
    keys.done();
    problems.into_list().iter().map(ToString::to_string).collect()
}

#[test]
fn every_mistake_is_named_at_once_with_its_line() {
    let said = messages("first = nan\nlist = [1,\n  -2]\n\n[oil]\nlevl = 3\n", |keys| {
        assert_eq!(keys.number("first", Range::new(0.0, 9.0, "hours")), None);
        assert_eq!(keys.numbers("list", Range::new(0.0, 9.0, "hours")), None);
        let oil = keys.table("oil").unwrap();
        assert_eq!(oil.number("level", Range::new(0.0, 40.0, "quarts")), None);
        oil.done();
    });
    assert_eq!(
        said,
        [
            "a.toml:1: first = nan, expected 0 to 9 hours",
            "a.toml:2: list = [1, -2], expected a list of numbers, each 0 to 9 hours",
            "a.toml:6: unknown key oil.levl, expected the nearest known key level",
        ]
    );
}

#[test]
fn a_syntax_mistake_costs_its_line_only() {
    let problems = Problems::new("a.toml");
    let table = read("tail = N0417H\nmeter = \"tach\"\n", &problems);
    let keys = Keys::new(&table, &problems);
    assert_eq!(keys.text("meter", "a word"), Some("tach"));
    assert_eq!(keys.text("tail", "the folder's name"), None);
    let said: Vec<String> = problems.into_list().iter().map(ToString::to_string).collect();
    let expected = "a.toml:1: not TOML (no value): tail = N0417H, expected a number, true, false or text in \"quotes\"";
    assert_eq!(said, [expected]);
}

#[test]
fn lines_of_tables_in_lists_are_those_of_their_headers() {
    let problems = Problems::new("a.toml");
    let table = read("x = 1\n\n[[engine]]\nserial = \"A\"\n\n[[engine]]\nserial = \"B\"\n", &problems);
    let keys = Keys::new(&table, &problems);
    let lines: Vec<u32> = keys.tables("engine").iter().map(Keys::line).collect();
    assert_eq!(lines, [3, 6]);
}
