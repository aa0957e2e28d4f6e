//! The fleet page: plain files that any browser shows from disk, without server or script.
//!
//! `index.html` has the fleet; each engine has a page with its picture and the evidence of its
//! alerts; each engine in break-in has a sheet to print. This makes the bytes; writing them is the
//! shell's work.

mod engine;
mod index;

use super::html::escape;
use super::{Morning, break_in_sheet};
use crate::judge::EngineView;

/// The files of the page: path relative to the page's folder, and content. Of engines on other tails than `wanted` none:
/// those files are as they were.
pub fn pages<'a>(
    morning: &'a Morning,
    wanted: impl Fn(&str) -> bool + 'a,
) -> impl Iterator<Item = (String, Vec<u8>)> + 'a {
    let names = names(&morning.engines);
    let index = ("index.html".to_owned(), index::page(morning, &names).into_bytes());
    let engines = morning.engines.iter().zip(names).filter(move |(engine, _)| wanted(&engine.tail));
    // One at a time: together the pages of a hundred engines are some ten megabytes.
    let of_engine = |(engine, name): (&EngineView, String)| {
        let page = (format!("engine/{name}.html"), engine::page(morning, engine, &name).into_bytes());
        let sheet = break_in_sheet::sheet(morning, engine);
        std::iter::once(page).chain(sheet.map(|sheet| (format!("break-in/{name}.html"), sheet.into_bytes())))
    };
    std::iter::once(index).chain(engines.flat_map(of_engine))
}

/// A file name for each engine, made of its serial. A serial is free text: what could leave the
/// folder or trouble a file system is replaced, and names that then collide are numbered.
fn names(engines: &[EngineView]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for engine in engines {
        let plain = |c: char| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' };
        let name: String = engine.serial.chars().take(60).map(plain).collect();
        let taken = |n: &String| out.iter().any(|o| o.eq_ignore_ascii_case(n));
        let numbered = (2..).map(|i| format!("{name}_{i}"));
        let free = std::iter::once(name.clone()).chain(numbered).find(|n| !taken(n) && !n.is_empty());
        out.push(free.unwrap_or(name));
    }
    out
}

/// Style only pages need: skip link, wide tables.
const STYLE: &str = "body { max-width: 1080px; }
.skip { position: absolute; left: -999px; } .skip:focus { position: static; }
.wide { overflow-x: auto; } .wide table { min-width: 760px; }
td.n, th.n { text-align: right; }
figure { margin: 14px 0; } .picture { overflow-x: auto; } figure svg { max-width: 100%; min-width: 600px; height: auto; }
td.k, td.n small { white-space: nowrap; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 3px 16px; margin: 8px 0; } dt { color: var(--soft); } dd { margin: 0; }
nav { font-size: .9rem; margin: 0 0 10px; }
@media print { body { max-width: none; } nav, .skip { display: none; } .item { break-inside: avoid; } }
";

/// A picture with its words for who cannot see it; nothing where there is nothing to draw.
fn figure<E>(svg: Result<String, E>, words: &str) -> String {
    svg.map_or(String::new(), |svg| {
        let words = escape(words);
        // The caption says the same as the label: once is enough for who is read to.
        format!(
            "<figure>\n<div class=\"picture\" role=\"img\" tabindex=\"0\" aria-label=\"{words}\">\n{svg}\n</div>\n\
             <figcaption class=\"soft\" aria-hidden=\"true\">{words}</figcaption>\n</figure>\n"
        )
    })
}

/// A page with skip link, path back, and the caution at its foot.
fn frame(title: &str, home: &str, body: &str) -> String {
    let nav = if home.is_empty() { String::new() } else { format!("<nav><a href=\"{home}\">Fleet</a></nav>\n") };
    let body = format!(
        "<a class=\"skip\" href=\"#main\">To the content</a>\n{nav}<main id=\"main\">\n{body}</main>\n{}",
        super::html::foot()
    );
    super::html::document(title, &format!("{}{STYLE}", super::html::CHART_INKS), &body)
}

#[cfg(test)]
mod tests;
