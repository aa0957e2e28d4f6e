//! The fast way through a recording: pieces read at page-aligned places, delimiters found 64 bytes at a time.
//!
//! Only rows without quotes and with as many cells as the header are cut here, many at a time so that
//! each column of them can be read in one loop; every other line is handed on whole and read by the
//! `csv` crate's machine, with the same result (a property test in the parent module holds the two
//! together). Memory is the buffer, whatever the file's size; no `unsafe`.

use std::io::{ErrorKind, Read, Result};

use wide::u8x16;

/// Bytes asked for at a time.
const PIECE: usize = 64 * 1024;
/// Room before the piece for an unfinished line: also the longest line accepted.
const HEAD: usize = 64 * 1024;
/// Places of cells held at a time; a row with more is handed on whole. A power of two.
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
    pub buffer: &'a [u8],
    /// By row, where each wanted cell begins, and one more: the byte before the next one's beginning is the delimiter.
    pub starts: &'a [u32],
    /// Starts per row.
    pub stride: u32,
    /// Line of the first row, 1-based.
    pub line: u32,
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

/// What a stream is read into.
#[derive(Debug)]
pub struct Buffers {
    bytes: Vec<u8>,
    /// Page-aligned place pieces are read to.
    origin: usize,
    starts: Box<[u32; PLACES]>,
}

impl Default for Buffers {
    fn default() -> Self {
        let bytes = vec![0; HEAD + PIECE + 4096];
        let origin = HEAD + (4096 - (bytes.as_ptr() as usize + HEAD) % 4096) % 4096;
        Self { bytes, origin, starts: Box::new([0; PLACES]) }
    }
}

/// Lines of a stream.
#[derive(Debug)]
pub struct Lines<'a, R> {
    input: R,
    buffer: &'a mut [u8],
    starts: &'a mut [u32; PLACES],
    origin: usize,
    start: usize,
    end: usize,
    line: u32,
    finished: bool,
    skipping: bool,
}

impl<'a, R: Read> Lines<'a, R> {
    pub fn new(input: R, buffers: &'a mut Buffers) -> Self {
        let Buffers { bytes, origin, starts } = buffers;
        let origin = *origin;
        Self {
            input,
            buffer: bytes,
            starts,
            origin,
            start: origin,
            end: origin,
            line: 0,
            finished: false,
            skipping: false,
        }
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

    /// Hands everything further to `sink`, cut as `cutting` says unless it is `None`.
    pub fn each(&mut self, cutting: Option<Cutting>, mut sink: impl FnMut(Part<'_>)) -> Result<()> {
        // Lines alone: no row has no cells.
        let whole = Cutting { delimiter: b'\n', width: 0, keep: 0 };
        let cutting = cutting.filter(|c| c.keep < PLACES / 2);
        loop {
            let plain = memchr::memchr(b'"', &self.buffer[self.start..self.end]).is_none();
            self.piece(cutting.filter(|_| plain).unwrap_or(whole), &mut sink);
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
    fn piece(&mut self, cutting: Cutting, sink: &mut impl FnMut(Part<'_>)) {
        let (stride, starts) = (cutting.keep + 1, &mut *self.starts);
        let (mut at, mut cells, mut from) = (self.start, 0usize, self.start);
        // Rows cut and not yet handed on take the places up to here.
        let mut base = 0;
        starts[0] = from as u32;
        while at < self.end {
            let (mut any, mut breaks) = match self.buffer[at..].first_chunk() {
                Some(block) => masks(block, cutting.delimiter),
                None => {
                    let mut last = [0; 64];
                    last[..self.buffer.len() - at].copy_from_slice(&self.buffer[at..]);
                    masks(&last, cutting.delimiter)
                }
            };
            if at + 64 > self.end {
                let valid = (1u64 << (self.end - at)) - 1;
                (any, breaks) = (any & valid, breaks & valid);
            }
            while breaks != 0 {
                let upto = breaks ^ (breaks - 1);
                cells = push(any & upto, at, cells, cutting.keep, base, starts);
                any &= !upto;
                let to = at + breaks.trailing_zeros() as usize;
                breaks &= breaks - 1;
                self.line += 1;
                // A remark, or a byte order mark where files were joined: not cut here.
                let odd = matches!(self.buffer[from], b'#' | 0xEF);
                let row = cells == cutting.width && !odd && !self.skipping;
                base += if row { stride } else { 0 };
                if !row || base + stride >= PLACES {
                    let line = self.line - u32::from(!row);
                    hand_on_rows(self.buffer, &starts[..base], stride, line, sink);
                    base = 0;
                }
                if !row && !std::mem::take(&mut self.skipping) {
                    let text = &self.buffer[from..to];
                    sink(Part::Line(Line { text, line: self.line, unfinished: false, too_long: false }));
                }
                (from, cells) = (to + 1, 0);
                starts[base % PLACES] = from as u32;
            }
            cells = push(any, at, cells, cutting.keep, base, starts);
            at += 64;
        }
        hand_on_rows(self.buffer, &starts[..base], stride, self.line, sink);
        self.start = from;
    }
}

/// Hands on the rows cut so far; `line` is that of the last one.
fn hand_on_rows(buffer: &[u8], starts: &[u32], stride: usize, line: u32, sink: &mut impl FnMut(Part<'_>)) {
    let rows = (starts.len() / stride) as u32;
    if rows > 0 {
        sink(Part::Rows(Rows { buffer, starts, stride: stride as u32, line: line + 1 - rows }));
    }
}

/// Counts the cells that end at the set bits, and writes where the next one begins while it is wanted.
#[inline(always)]
fn push(mut bits: u64, at: usize, mut cells: usize, keep: usize, base: usize, starts: &mut [u32; PLACES]) -> usize {
    while bits != 0 {
        if cells >= keep {
            return cells + bits.count_ones() as usize;
        }
        // Two at a time; where there is no second one, its place is written anew before it is looked at.
        starts[(base + cells + 1) % PLACES] = (at + bits.trailing_zeros() as usize) as u32 + 1;
        bits &= bits - 1;
        starts[(base + cells + 2) % PLACES] = (at + bits.trailing_zeros() as usize) as u32 + 1;
        cells += 1 + usize::from(bits != 0);
        bits &= bits.wrapping_sub(1);
    }
    cells
}

/// Bit per byte: delimiter or line break; line break.
#[inline(always)]
fn masks(block: &[u8; 64], delimiter: u8) -> (u64, u64) {
    let (mut any, mut breaks) = (0u64, 0u64);
    for (i, part) in block.as_chunks::<16>().0.iter().enumerate() {
        let v = u8x16::new(*part);
        let (end, cell) = (v.simd_eq(u8x16::splat(b'\n')), v.simd_eq(u8x16::splat(delimiter)));
        any |= u64::from((end | cell).to_bitmask()) << (16 * i);
        breaks |= u64::from(end.to_bitmask()) << (16 * i);
    }
    (any, breaks)
}
