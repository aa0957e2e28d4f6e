//! The demo fleet: sixteen months of eight invented aircraft, made from a seed, the same bytes each time.
//!
//! [`season`] lives through the days, [`story`] and [`shop`] say what is out of the ordinary,
//! [`recording`] and [`sheets`] write it down as people and recorders do.

pub mod flights;
pub mod models;
pub mod random;
pub mod recording;
pub mod season;
pub mod sheets;
pub mod shop;
pub mod story;
pub mod texts;
pub mod workbook;
pub mod world;

/// Every file of the demo fleet: path under its folder, and bytes.
pub fn files() -> Vec<(String, Vec<u8>)> {
    let start = season::Season { engines: world::engines(), tails: world::tails() };
    let season = season::live();
    let mut files = vec![
        ("cowlwatch.toml".to_owned(), texts::CONFIGURATION.as_bytes().to_vec()),
        ("engines.toml".to_owned(), models::file().into_bytes()),
        ("README.md".to_owned(), texts::README.as_bytes().to_vec()),
    ];
    for (begun, tail) in start.tails.iter().zip(&season.tails) {
        let under = |name: &str| format!("fleet/{}/{name}", tail.name);
        files.push((under("aircraft.toml"), texts::aircraft(begun, &start).into_bytes()));
        files.extend(sheets::logs(tail).into_iter().map(|(name, bytes)| (under(&name), bytes)));
        files.extend(tail.recordings.iter().map(|(name, bytes)| (under(name), bytes.clone())));
    }
    files
}
