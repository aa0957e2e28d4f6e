//! Encodings: recordings are bytes that hold ASCII numbers; only UTF-16 needs turning into UTF-8 first.

use std::io::{Read, Result};

use encoding_rs::{Decoder, Encoding, UTF_16BE, UTF_16LE};

/// A stream in UTF-8 or an encoding that keeps ASCII as it is.
pub struct Text<R> {
    input: R,
    decoder: Option<Decoder>,
    /// Bytes read ahead to find a byte order mark, or not yet decoded.
    ahead: Vec<u8>,
    begun: bool,
    ended: bool,
}

impl<R: Read> Text<R> {
    /// `label`: an encoding's name where the layout gives one.
    pub fn new(input: R, label: Option<&str>) -> Self {
        let named = label.and_then(|l| Encoding::for_label(l.as_bytes()));
        let decoder = named.filter(|e| *e == UTF_16LE || *e == UTF_16BE).map(|e| e.new_decoder());
        Self { input, decoder, ahead: Vec::new(), begun: false, ended: false }
    }

    fn begin(&mut self) -> Result<()> {
        self.begun = true;
        let mut first = [0u8; 2];
        let mut n = 0;
        while n < 2 {
            match self.input.read(&mut first[n..])? {
                0 => break,
                k => n += k,
            }
        }
        self.ahead.extend_from_slice(&first[..n]);
        if self.decoder.is_none() {
            self.decoder = match &first[..n] {
                [0xFF, 0xFE] => Some(UTF_16LE.new_decoder()),
                [0xFE, 0xFF] => Some(UTF_16BE.new_decoder()),
                _ => None,
            };
        }
        Ok(())
    }
}

impl<R: Read> Read for Text<R> {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        if !self.begun {
            self.begin()?;
        }
        let Some(decoder) = &mut self.decoder else {
            if self.ahead.is_empty() {
                return self.input.read(out);
            }
            // Filled up to the piece, so that later reads stay page-aligned in the file too.
            let n = self.ahead.len().min(out.len());
            out[..n].copy_from_slice(&self.ahead[..n]);
            self.ahead.drain(..n);
            return Ok(n + self.input.read(&mut out[n..])?);
        };
        loop {
            if self.ahead.is_empty() && !self.ended {
                let mut piece = [0u8; 16 * 1024];
                let n = self.input.read(&mut piece)?;
                self.ended = n == 0;
                self.ahead.extend_from_slice(&piece[..n]);
            }
            let (_, read, written, _) = decoder.decode_to_utf8(&self.ahead, out, self.ended);
            self.ahead.drain(..read);
            if written > 0 || (self.ended && self.ahead.is_empty()) || (read == 0 && !self.ahead.is_empty()) {
                return Ok(written);
            }
        }
    }
}
