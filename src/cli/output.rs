//! Printing: a reader that went away (`| head`) is no failure.

use std::io::{self, Write};

use super::{Stop, exit};

/// Prints text as it is.
pub fn print(text: &str) -> Result<(), Stop> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Stop::new(exit::CANNOT_WRITE, format!("standard output: {error}")))
        }
        _ => Ok(()),
    }
}

/// Prints text and a line end.
pub fn line(text: &str) -> Result<(), Stop> {
    print(&format!("{text}\n"))
}

/// Prints a value as JSON.
pub fn json<T: serde::Serialize>(value: &T) -> Result<(), Stop> {
    let text = crate::report::json::text(value).map_err(|e| Stop::new(exit::CANNOT_WRITE, e.to_string()))?;
    line(text.trim_end())
}
