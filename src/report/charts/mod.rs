//! Pictures of numbers, as PNG for mails and SVG for pages, drawn without any library of the system.
//!
//! One set of colours and line kinds for all: what a line means never hangs on its colour alone
//! (the baseline is dashed, the ceiling labelled, alarms are marks with their number).

mod frame;
mod spark;

use std::fmt::Display;
use std::io::Write;
use std::sync::Once;

use plotters::coord::Shift;
use plotters::prelude::*;
use thiserror::Error;

pub use spark::{spark_png, spark_words};

/// The letters of the charts (SIL Open Font License 1.1, see LICENSE).
const FONT: &[u8] = include_bytes!("Karla-Regular.otf");
const FAMILY: &str = "sans-serif";

/// A picture that could not be drawn. Never a reason to hold back the words beside it.
#[derive(Debug, Error)]
#[error("chart: {0}")]
pub struct ChartError(String);

/// Turns any drawing error into ours.
fn drawn<T, E: Display>(result: Result<T, E>) -> Result<T, ChartError> {
    result.map_err(|e| ChartError(e.to_string()))
}

/// Something that can be drawn on any backend.
pub trait Picture {
    /// Width and height in CSS pixels.
    fn size(&self) -> (u32, u32);
    /// Draws itself; every length is multiplied by `scale`.
    ///
    /// # Errors
    /// If the backend refuses.
    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError>;
}

/// As PNG at twice the size in pixels, sharp on a phone.
///
/// # Errors
/// If drawing or encoding fails.
pub fn png(picture: &impl Picture) -> Result<Vec<u8>, ChartError> {
    const SCALE: u32 = 2;
    fonts();
    let (width, height) = (picture.size().0 * SCALE, picture.size().1 * SCALE);
    let mut pixels = vec![255; (width * height * 3) as usize];
    {
        let area = BitMapBackend::with_buffer(&mut pixels, (width, height)).into_drawing_area();
        picture.draw(&area, f64::from(SCALE))?;
        drawn(area.present())?;
    }
    let mut out = Vec::new();
    {
        let mut encoder = png::Encoder::new(&mut out, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_adaptive_filter(png::AdaptiveFilterType::Adaptive);
        let mut writer = drawn(encoder.write_header())?;
        drawn(writer.write_image_data(&pixels))?;
        drawn(writer.finish())?;
    }
    drawn(out.flush())?;
    Ok(out)
}

/// As SVG.
///
/// # Errors
/// If drawing fails.
pub fn svg(picture: &impl Picture) -> Result<String, ChartError> {
    fonts();
    let mut out = String::new();
    {
        let area = SVGBackend::with_string(&mut out, picture.size()).into_drawing_area();
        picture.draw(&area, 1.0)?;
        drawn(area.present())?;
    }
    Ok(out)
}

/// Registers the font once; without it text is refused.
fn fonts() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let registered = plotters::style::register_font(FAMILY, FontStyle::Normal, FONT);
        debug_assert!(registered.is_ok(), "the font in the program is whole");
    });
}

/// The inks. Pages map them to their own in the dark; see `page`.
mod ink {
    use plotters::style::RGBColor;

    pub const GROUND: RGBColor = RGBColor(0xF8, 0xF9, 0xF6);
    pub const TEXT: RGBColor = RGBColor(0x1D, 0x23, 0x26);
    pub const SOFT: RGBColor = RGBColor(0x54, 0x5E, 0x63);
    pub const RULE: RGBColor = RGBColor(0xDA, 0xDE, 0xDB);
    pub const RATE: RGBColor = RGBColor(0x1F, 0x56, 0x73);
    pub const LIMIT: RGBColor = RGBColor(0xA3, 0x16, 0x1A);
    pub const OTHER: RGBColor = RGBColor(0x7A, 0x52, 0x00);
}

#[cfg(test)]
mod tests;
