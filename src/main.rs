//! The program: hands over to the command line.

use std::process::ExitCode;

use cowlwatch::shell::workbook;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    // Before anything else starts: the child that reads workbooks lives under tight limits.
    if let Some((workbook::COMMAND, rest)) = arguments.split_first().map(|(first, rest)| (first.as_str(), rest)) {
        return workbook::child(rest);
    }
    cowlwatch::cli::main()
}
