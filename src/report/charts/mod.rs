//! Pictures of numbers, as PNG for mails and SVG for pages, drawn without any library of the system.
//!
//! One set of colours and line kinds for all: what a line means never hangs on its colour alone
//! (the baseline is dashed, the ceiling labelled, alarms are marks with their number).

mod beside;
mod break_in;
mod consumption;
mod frame;
mod run;
mod spark;
mod statistic;

use std::fmt::Display;
use std::sync::Once;

use plotters::coord::Shift;
use plotters::prelude::*;
use thiserror::Error;

pub use beside::{beside_svg, beside_words};
pub use break_in::{break_in_png, break_in_svg, break_in_words};
pub use consumption::{about_consumption, consumption_png, consumption_svg, consumption_words};
pub use run::{run_png, run_svg, run_words};
pub use spark::{spark_png, spark_words};
pub use statistic::{alert_svg, statistic_png, statistic_svg, statistic_words};

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
    encoded(&pixels, width, height)
}

/// Encodes RGB pixels with a palette, which makes a chart a third of the size; in full colour where
/// it has too many shades for one.
fn encoded(pixels: &[u8], width: u32, height: u32) -> Result<Vec<u8>, ChartError> {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Default);
    let indexed = palette(pixels, 3).or_else(|| palette(pixels, 4));
    match &indexed {
        Some((colors, _)) => {
            encoder.set_color(png::ColorType::Indexed);
            encoder.set_palette(colors.as_slice());
            encoder.set_filter(png::FilterType::NoFilter);
        }
        None => {
            encoder.set_color(png::ColorType::Rgb);
            encoder.set_adaptive_filter(png::AdaptiveFilterType::Adaptive);
        }
    }
    let mut writer = drawn(encoder.write_header())?;
    drawn(writer.write_image_data(indexed.as_ref().map_or(pixels, |(_, indices)| indices)))?;
    drawn(writer.finish())?;
    Ok(out)
}

/// A palette and each pixel's place in it. Shades closer than the eye tells on a line's edge share
/// one (`coarse`: bits of each channel left out of account); `None` if more than 256 remain.
fn palette(pixels: &[u8], coarse: u32) -> Option<(Vec<u8>, Vec<u8>)> {
    let mut colors = Vec::new();
    let mut place = vec![None; 1 << 15];
    let mut indices = Vec::with_capacity(pixels.len() / 3);
    for rgb in pixels.chunks_exact(3) {
        let part = |channel: u8| usize::from(channel >> coarse);
        let bucket = (part(rgb[0]) << 10) | (part(rgb[1]) << 5) | part(rgb[2]);
        let index = match place[bucket] {
            Some(index) => index,
            None => {
                let index = u8::try_from(colors.len() / 3).ok()?;
                colors.extend_from_slice(rgb);
                place[bucket] = Some(index);
                index
            }
        };
        indices.push(index);
    }
    Some((colors, indices))
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
