//! The fast way through a recording: pieces read at page-aligned places and cut into lines, and lines into rows.
//!
//! Only rows without quotes and with as many cells as the header are cut here, many at a time so that
//! each column of them can be read in one loop; every other line is handed on whole and read by the
//! `csv` crate's machine, with the same result (a property test in the parent module holds the two
//! together). Memory is the buffer, whatever the file's size; no `unsafe`.

use std::io::{ErrorKind, Read, Result};

use super::shape::{BLOCK, Shape};

/// Bytes asked for at a time.
const PIECE: usize = 64 * 1024;
/// Room before the piece for an unfinished line: also the longest line accepted.
const HEAD: usize = 64 * 1024;
/// What a buffer holds, a power of two.
const ROOM: usize = HEAD + PIECE;
/// Places of cells held at a time; a row with more is handed on whole.
const PLACES: usize = 4096;

/// What a stream is cut into.
#[derive(Clone, Copy, Debug)]
pub enum Part<'a> {
    Rows(Rows<'a>),
    Line(Line<'a>),
}

/// Rows one after the other, each cut into as many cells as the header has.
#[derive(Clone, Copy, Debug)]
pub struct Rows<'a> {
    buffer: &'a [u8; ROOM + BLOCK],
    /// By row, where each wanted cell begins, and one more: the byte before the next one's beginning is the delimiter.
    starts: &'a [u32],
    /// Starts per row.
    stride: u32,
    /// Line of the first row, 1-based.
    line: u32,
}

impl Rows<'_> {
    pub fn count(&self) -> u32 {
        self.starts.len() as u32 / self.stride
    }

    /// The line a row stands in, 1-based.
    pub fn line(&self, row: u32) -> u32 {
        self.line + row
    }

    /// A cell, and the byte before it.
    #[inline(always)]
    pub fn cell(&self, row: u32, column: usize) -> (u8, &[u8]) {
        let at = (row * self.stride) as usize + column;
        let [from, next] = self.starts.get(at..at + 2).and_then(<[u32]>::first_chunk).copied().unwrap_or([1, 2]);
        (self.buffer[from as usize - 1], &self.buffer[from as usize..next as usize - 1])
    }

    /// Of four rows from `row` on, the eight bytes that end with their cell, the last one in the top byte.
    #[inline(always)]
    pub fn words(&self, row: u32, column: usize) -> Option<[u64; 4]> {
        let stride = self.stride as usize;
        let ends = self.starts.get(row as usize * stride + column + 1..)?;
        let word = |row: usize| {
            let from = (*ends.get(row * stride)? as usize).wrapping_sub(9) % ROOM;
            self.buffer[from..from + 8].first_chunk().map(|word| u64::from_le_bytes(*word))
        };
        Some([word(0)?, word(1)?, word(2)?, word(3)?])
    }
}

/// A line that was not cut.
#[derive(Clone, Copy, Debug)]
pub struct Line<'a> {
    /// Without its line break.
    pub text: &'a [u8],
    /// 1-based.
    pub line: u32,
    /// The line has no line break: the file may still be being written.
    pub unfinished: bool,
    /// Longer than [`HEAD`]: only its beginning is here.
    pub too_long: bool,
}

/// How rows are cut: a row of `width` cells at `delimiter`, of which the first `keep` are wanted.
#[derive(Clone, Copy, Debug)]
pub struct Cutting {
    pub delimiter: u8,
    pub width: usize,
    pub keep: usize,
}

/// Bytes at a page-aligned place.
#[derive(Debug)]
#[repr(align(4096))]
struct Pages([u8; ROOM + BLOCK]);

/// What a stream is read into.
#[derive(Debug)]
pub struct Buffers {
    bytes: Box<Pages>,
    starts: Box<[u32; PLACES]>,
    shape: Shape,
}

impl Default for Buffers {
    fn default() -> Self {
        Self { bytes: Box::new(Pages([0; ROOM + BLOCK])), starts: Box::new([0; PLACES]), shape: Shape::default() }
    }
}

/// Lines of a stream.
#[derive(Debug)]
pub struct Lines<'a, R> {
    input: R,
    buffer: &'a mut [u8; ROOM + BLOCK],
    starts: &'a mut [u32; PLACES],
    shape: &'a mut Shape,
    start: usize,
    end: usize,
    line: u32,
    finished: bool,
    skipping: bool,
}

impl<'a, R: Read> Lines<'a, R> {
    pub fn new(input: R, buffers: &'a mut Buffers) -> Self {
        let Buffers { bytes, starts, shape } = buffers;
        let buffer = &mut bytes.0;
        Self { input, buffer, starts, shape, start: HEAD, end: HEAD, line: 0, finished: false, skipping: false }
    }

    /// Moves the unfinished line before the place pieces are read to, and reads the next piece. False at the end.
    fn fill(&mut self) -> Result<bool> {
        let rest = self.end - self.start;
        if rest > HEAD - 64 {
            return Ok(true);
        }
        self.buffer.copy_within(self.start..self.end, HEAD - rest);
        (self.start, self.end) = (HEAD - rest, HEAD);
        loop {
            match self.input.read(&mut self.buffer[HEAD..ROOM]) {
                Ok(0) => self.finished = true,
                Ok(n) => self.end = HEAD + n,
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

    /// Hands everything further to `sink`, cut as `cutting` says unless it is `None`.
    pub fn each(&mut self, cutting: Option<Cutting>, mut sink: impl FnMut(Part<'_>)) -> Result<()> {
        self.shape.clear();
        let cutting = cutting.filter(|c| c.keep < PLACES / 2);
        loop {
            let plain = memchr::memchr(b'"', &self.buffer[self.start..self.end]).is_none();
            self.piece(cutting.filter(|_| plain), &mut sink);
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

    fn hand_on_rest(&mut self, too_long: bool, sink: &mut impl FnMut(Part<'_>)) {
        self.line += u32::from(!too_long);
        let line = self.line + u32::from(too_long);
        sink(Part::Line(Line { text: &self.buffer[self.start..self.end], line, unfinished: !too_long, too_long }));
    }

    /// Cuts the complete lines of the buffer.
    fn piece(&mut self, cutting: Option<Cutting>, sink: &mut impl FnMut(Part<'_>)) {
        // In fours, so that they are moved along in fours.
        let stride = cutting.map_or(1, |c| (c.keep + 1).next_multiple_of(4));
        let starts = &mut self.starts[..];
        // Rows cut and not yet handed on take the places up to here.
        let mut base = 0;
        while let Some(length) = memchr::memchr(b'\n', &self.buffer[self.start..self.end]) {
            let (from, to) = (self.start, self.start + length);
            (self.start, self.line) = (to + 1, self.line + 1);
            // A remark, or a byte order mark where files were joined: not cut here.
            let odd = self.skipping || matches!(self.buffer[from], b'#' | 0xEF);
            let places = &mut starts[base..base + stride];
            if !odd && cutting.is_some_and(|cutting| self.shape.cut(self.buffer, from, to, cutting, places)) {
                base += stride;
                if base + stride > PLACES {
                    hand_on_rows(self.buffer, &starts[..base], stride, self.line, sink);
                    base = 0;
                }
                continue;
            }
            hand_on_rows(self.buffer, &starts[..base], stride, self.line - 1, sink);
            base = 0;
            if !std::mem::take(&mut self.skipping) {
                let text = &self.buffer[from..to];
                sink(Part::Line(Line { text, line: self.line, unfinished: false, too_long: false }));
            }
        }
        hand_on_rows(self.buffer, &starts[..base], stride, self.line, sink);
    }
}

/// Hands on the rows cut so far; `line` is that of the last one.
fn hand_on_rows(
    buffer: &[u8; ROOM + BLOCK],
    starts: &[u32],
    stride: usize,
    line: u32,
    sink: &mut impl FnMut(Part<'_>),
) {
    let rows = (starts.len() / stride) as u32;
    if rows > 0 {
        sink(Part::Rows(Rows { buffer, starts, stride: stride as u32, line: line + 1 - rows }));
    }
}
