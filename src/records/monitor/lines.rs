//! The fast way through a recording: pieces read at page-aligned places, delimiters found 64 bytes at a time.
//!
//! Only rows without quotes and with as many cells as the header are cut here; every other row is
//! handed on whole and read by the `csv` crate, with the same result (a property test in the parent
//! module holds the two together). Memory is the buffer, whatever the file's size; no `unsafe`.

use std::io::{ErrorKind, Read, Result};

use wide::u8x16;

/// Bytes asked for at a time.
const PIECE: usize = 64 * 1024;
/// Room before the piece for an unfinished line: also the longest line accepted.
const HEAD: usize = 64 * 1024;
/// Cells counted per row; a row with more is handed on whole.
const MOST: usize = 1024;

/// A line of the buffer.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    pub buffer: &'a [u8],
    pub from: usize,
    /// End of the line, without its line break.
    pub to: usize,
    /// Where each cell ends, if the row could be cut; else empty.
    pub ends: &'a [u32],
    /// 1-based.
    pub line: u32,
    /// The line has no line break: the file may still be being written.
    pub unfinished: bool,
    /// Longer than [`HEAD`]: only its beginning is here.
    pub too_long: bool,
}

/// Lines of a stream.
#[derive(Debug)]
pub struct Lines<R> {
    input: R,
    buffer: Vec<u8>,
    /// Page-aligned place pieces are read to.
    origin: usize,
    start: usize,
    end: usize,
    line: u32,
    finished: bool,
    skipping: bool,
}

impl<R: Read> Lines<R> {
    pub fn new(input: R) -> Self {
        let buffer = vec![0; HEAD + PIECE + 4096];
        let origin = HEAD + (4096 - (buffer.as_ptr() as usize + HEAD) % 4096) % 4096;
        Self { input, buffer, origin, start: origin, end: origin, line: 0, finished: false, skipping: false }
    }

    /// Moves the unfinished line before the origin and reads the next piece. False at the end.
    fn fill(&mut self) -> Result<bool> {
        let rest = self.end - self.start;
        if rest > HEAD - 64 {
            return Ok(true);
        }
        self.buffer.copy_within(self.start..self.end, self.origin - rest);
        (self.start, self.end) = (self.origin - rest, self.origin);
        loop {
            match self.input.read(&mut self.buffer[self.origin..self.origin + PIECE]) {
                Ok(0) => self.finished = true,
                Ok(n) => self.end = self.origin + n,
                Err(e) if e.kind() == ErrorKind::Interrupted => continue,
                Err(e) => return Err(e),
            }
            return Ok(!self.finished);
        }
    }

    /// The next line whole, for what stands before the rows.
    pub fn next_line(&mut self) -> Result<Option<(u32, Vec<u8>)>> {
        loop {
            if let Some(n) = memchr::memchr(b'\n', &self.buffer[self.start..self.end]) {
                let text = self.buffer[self.start..self.start + n].to_vec();
                self.start += n + 1;
                self.line += 1;
                return Ok(Some((self.line, text)));
            }
            let full = self.end - self.start > HEAD - 64;
            if full || !self.fill()? {
                let text = self.buffer[self.start..self.end].to_vec();
                self.start = self.end;
                self.line += 1;
                return Ok((!text.is_empty()).then_some((self.line, text)));
            }
        }
    }

    /// Hands every further line to `sink`, cut at `delimiter` if it has `width` cells, unless `whole`.
    pub fn each(&mut self, delimiter: u8, width: usize, whole: bool, mut sink: impl FnMut(Row<'_>)) -> Result<()> {
        let mut ends = [0u32; MOST];
        loop {
            let cut = !whole && memchr::memchr(b'"', &self.buffer[self.start..self.end]).is_none();
            self.piece(delimiter, if cut { width } else { usize::MAX }, &mut ends, &mut sink);
            let rest = self.end - self.start;
            if rest > HEAD - 64 {
                // No line break for this long: hand on the beginning once, then drop up to the next break.
                if !self.skipping {
                    self.hand_on_rest(true, &mut sink);
                }
                (self.skipping, self.start) = (true, self.end);
            }
            if !self.fill()? {
                if self.end > self.start && !self.skipping {
                    self.hand_on_rest(false, &mut sink);
                }
                return Ok(());
            }
        }
    }

    fn hand_on_rest(&mut self, too_long: bool, sink: &mut impl FnMut(Row<'_>)) {
        self.line += u32::from(!too_long);
        let line = self.line + u32::from(too_long);
        let (from, to) = (self.start, self.end);
        sink(Row { buffer: &self.buffer, from, to, ends: &[], line, unfinished: !too_long, too_long });
    }

    /// Cuts the complete lines of the buffer.
    fn piece(&mut self, delimiter: u8, width: usize, ends: &mut [u32; MOST], sink: &mut impl FnMut(Row<'_>)) {
        let (mut at, mut cells, mut from) = (self.start, 0usize, self.start);
        while at < self.end {
            let (mut any, mut breaks) = if at + 64 <= self.buffer.len() {
                masks(&self.buffer[at..at + 64], delimiter)
            } else {
                let mut last = [0; 64];
                last[..self.buffer.len() - at].copy_from_slice(&self.buffer[at..]);
                masks(&last, delimiter)
            };
            if self.end - at < 64 {
                let valid = (1u64 << (self.end - at)) - 1;
                (any, breaks) = (any & valid, breaks & valid);
            }
            while breaks != 0 {
                let upto = breaks ^ (breaks - 1);
                cells = push(any & upto, at, cells, ends);
                any &= !upto;
                breaks &= breaks - 1;
                let to = at + (upto.count_ones() as usize) - 1;
                self.line += 1;
                if !std::mem::take(&mut self.skipping) {
                    let ends = if cells == width && cells <= MOST { &ends[..cells] } else { &[] };
                    sink(Row {
                        buffer: &self.buffer,
                        from,
                        to,
                        ends,
                        line: self.line,
                        unfinished: false,
                        too_long: false,
                    });
                }
                (from, cells) = (to + 1, 0);
            }
            cells = push(any, at, cells, ends);
            at += 64;
        }
        self.start = from;
    }
}

/// Writes the places of the set bits behind the first `cells` ends; returns the new count.
#[inline]
fn push(mut bits: u64, at: usize, mut cells: usize, ends: &mut [u32; MOST]) -> usize {
    while bits != 0 {
        ends[cells % MOST] = (at + bits.trailing_zeros() as usize) as u32;
        cells += 1;
        bits &= bits - 1;
    }
    cells
}

/// Bit per byte: delimiter or line break; line break.
#[inline]
fn masks(block: &[u8], delimiter: u8) -> (u64, u64) {
    let (mut any, mut breaks) = (0u64, 0u64);
    for (i, part) in block.chunks_exact(16).enumerate() {
        let Ok(bytes) = <[u8; 16]>::try_from(part) else { continue };
        let v = u8x16::new(bytes);
        let b = u64::from(v.simd_eq(u8x16::splat(b'\n')).to_bitmask()) << (16 * i);
        any |= u64::from(v.simd_eq(u8x16::splat(delimiter)).to_bitmask()) << (16 * i) | b;
        breaks |= b;
    }
    (any, breaks)
}
