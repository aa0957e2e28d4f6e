//! The morning digest: one mail that can be read on a phone, standing up, in a minute.
//!
//! [`Content`] decides what is told and in which order; `text` and `html` only lay it out, so the
//! two parts of the mail cannot disagree. What is new comes first and with its facts; what was told
//! before and has not changed is one line. The evidence of new alerts follows at the end, in full.

mod content;
mod html;
mod sum_up;
mod text;

pub use content::{Content, Item};
pub use html::{item as item_html, known as known_html, silent as silent_html};
pub use text::clocks;

use super::charts;
use super::{Letter, Morning};

/// The digest of a morning.
pub fn digest(morning: &Morning) -> Letter {
    let content = Content::of(morning);
    let mut pictures = Vec::new();
    for (i, engine) in morning.engines.iter().enumerate().filter(|(_, e)| e.installed) {
        // A picture that cannot be drawn is left out; the row's numbers say the same.
        if let Ok(png) = charts::spark_png(engine) {
            pictures.push((picture_id(i), png, charts::spark_words(engine)));
        }
    }
    Letter {
        subject: content.subject.clone(),
        text: text::lay_out(&content),
        html: html::lay_out(&content, &pictures),
        pictures,
    }
}

/// Content id of the picture of the engine at this place in the list.
fn picture_id(index: usize) -> String {
    format!("engine-{index}")
}

#[cfg(test)]
mod tests;
