//! Reads workbooks in a child process of the same binary, under limits of memory and time.
//!
//! An xlsx or ods file is an archive: a few kilobytes can unfold to gigabytes, and the parts that
//! unfold them cannot be told when to stop. A child that is killed takes nothing with it; the file
//! is set aside with one fault, and the daemon goes on.

use std::fs::File;
use std::io::{self, Read, Seek, Write};
use std::path::PathBuf;
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use rustix::process::{Resource, Rlimit, setrlimit};

use crate::records::layout::Shape;
use crate::records::table::workbook::{MAX_WORKBOOK, read};
use crate::records::table::{Fault, Sheet};

/// First argument that makes the program such a child: `read-workbook SKIP_LINES [SHEET]`.
pub const COMMAND: &str = "read-workbook";

/// Address space of the child, bytes. Ten years of a busy log (12,000 rows of twelve columns) need 30 MB as xlsx and 44 as
/// ods, a hundred thousand rows as xlsx 97. With it the service stays under 200 MB.
const MEMORY: u64 = 128 * 1024 * 1024;
/// Processor time of the child, seconds.
const PROCESSOR_S: u64 = 20;
/// Time by the wall clock until the child is killed.
const PATIENCE: Duration = Duration::from_secs(40);
/// Exit code of a child that could not be limited, and read nothing.
const UNLIMITED: i32 = 75;
/// Most that is taken from the child, bytes.
const MAX_ANSWER: u64 = 64 * 1024 * 1024;

/// Reads a workbook with the program that is running. What is wrong with it is in `faults`; an error is the machine's,
/// and says nothing of the workbook.
pub fn read_apart(file: File, shape: &Shape) -> io::Result<Sheet> {
    // Right also after the program's file has been replaced by an update.
    read_with(&PathBuf::from("/proc/self/exe"), file, shape)
}

/// The same with a given program (tests run another binary than the one they test).
pub fn read_with(program: &std::path::Path, mut file: File, shape: &Shape) -> io::Result<Sheet> {
    // The child reads from where the file stands; what cannot be rewound stands at its start.
    let _ = file.rewind();
    let child = Command::new(program)
        .arg(COMMAND)
        .arg(shape.skip_lines.to_string())
        .args(&shape.sheet)
        .stdin(file)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(not_started)?;
    let fault = match answer(child, PATIENCE)? {
        (Some(0), bytes) => match postcard::from_bytes(&bytes) {
            Ok(sheet) => return Ok(sheet),
            Err(_) => damaged(),
        },
        (Some(UNLIMITED), _) => return Err(not_started("it cannot be limited")),
        // It ended by itself: the parts that read workbooks do not survive every damaged file.
        (Some(_), _) => damaged(),
        (None, _) => stopped(),
    };
    Ok(Sheet { faults: vec![fault], ..Sheet::default() })
}

fn not_started(why: impl std::fmt::Display) -> io::Error {
    io::Error::other(format!("the reader of workbooks could not be started: {why}"))
}

fn whole(found: &str, expected: &str) -> Fault {
    Fault { line: 0, found: found.to_owned(), expected: expected.to_owned() }
}

fn damaged() -> Fault {
    whole("a workbook that cannot be read", "a workbook saved whole as .xlsx or .ods")
}

fn stopped() -> Fault {
    whole(
        &format!("a workbook that takes more than {} MB or {PROCESSOR_S} s to read", MEMORY / (1024 * 1024)),
        "the log's sheet alone, saved anew as .xlsx, .ods or .csv",
    )
}

/// The child's exit code (none if it was killed) and what it wrote. It is an error if it does not end in time: its
/// limit of processor time is far shorter, so the machine is too busy, or the share too slow.
fn answer(mut child: Child, patience: Duration) -> io::Result<(Option<i32>, Vec<u8>)> {
    let Some(stdout) = child.stdout.take() else { return Err(io::ErrorKind::BrokenPipe.into()) };
    let (sender, receiver) = mpsc::channel();
    let taking = thread::Builder::new().spawn(move || {
        let mut bytes = Vec::new();
        let result = stdout.take(MAX_ANSWER).read_to_end(&mut bytes).map(|_| bytes);
        // Nobody waits any more once patience has run out.
        let _ = sender.send(result);
    });
    let taking = match taking {
        Ok(taking) => taking,
        Err(error) => {
            let _ = child.kill();
            child.wait()?;
            return Err(not_started(error));
        }
    };
    let late = || io::Error::new(io::ErrorKind::TimedOut, format!("not read within {} s", patience.as_secs()));
    let bytes = receiver.recv_timeout(patience).unwrap_or_else(|_| Err(late()));
    if bytes.is_err() {
        // Already gone is as good.
        let _ = child.kill();
    }
    let status = child.wait()?;
    // Its pipe is closed by now.
    let _ = taking.join();
    Ok((status.code(), bytes?))
}

/// The child: limits itself, reads the workbook on standard input, writes the sheet to standard output.
/// `arguments` are those after [`COMMAND`].
pub fn child(arguments: &[String]) -> ExitCode {
    let shape = Shape {
        skip_lines: arguments.first().and_then(|n| n.parse().ok()).unwrap_or(0),
        sheet: arguments.get(1).cloned(),
        ..Shape::default()
    };
    if limit().is_err() {
        return ExitCode::from(UNLIMITED as u8);
    }
    match read_stdin().map(|bytes| sheet_of(&bytes, &shape)).and_then(|sheet| send(&sheet)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(74),
    }
}

fn sheet_of(bytes: &[u8], shape: &Shape) -> Sheet {
    if bytes.len() > MAX_WORKBOOK {
        let found = format!("a workbook of more than {} MB", MAX_WORKBOOK / (1024 * 1024));
        return Sheet { faults: vec![whole(&found, "the log's sheet alone, without pictures")], ..Sheet::default() };
    }
    read(bytes, shape)
}

fn limit() -> rustix::io::Result<()> {
    let at_most = |resource, value| setrlimit(resource, Rlimit { current: Some(value), maximum: Some(value) });
    at_most(Resource::As, MEMORY)?;
    at_most(Resource::Cpu, PROCESSOR_S)?;
    at_most(Resource::Core, 0)?;
    at_most(Resource::Fsize, 0)
}

fn read_stdin() -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    io::stdin().lock().take(MAX_WORKBOOK as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn send(sheet: &Sheet) -> io::Result<()> {
    let bytes = postcard::to_stdvec(sheet).map_err(io::Error::other)?;
    let mut out = io::stdout().lock();
    out.write_all(&bytes)?;
    out.flush()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// A busy machine is no fault of the workbook, which would be set aside until it changes.
    #[test]
    fn a_reader_that_does_not_end_is_stopped_and_no_fault() {
        let reader = |command: &str| {
            let child = Command::new("sh").args(["-c", command]).stdout(Stdio::piped()).spawn().unwrap();
            answer(child, Duration::from_millis(400))
        };
        assert_eq!(reader("echo read; exit 3").unwrap(), (Some(3), b"read\n".to_vec()));
        assert_eq!(reader("kill -9 $$").unwrap(), (None, Vec::new()));
        let began = std::time::Instant::now();
        let error = reader("exec sleep 60").unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::TimedOut);
        assert!(began.elapsed() < Duration::from_secs(20));
    }
}
