//! `watch`: the service.

use super::{Cli, Stop, exit, load, scan};
use crate::daemon::{Ended, serve};
use crate::shell::log;
use crate::shell::mail::Delivery;
use crate::shell::store::Store;

pub fn run(cli: &Cli) -> Result<u8, Stop> {
    log::start("info");
    let rules = load::rules(&cli.config)?;
    let settings = &rules.config.settings;
    let state = settings.fleet.state.clone();
    let store = Store::open(&state)?;
    let delivery =
        Delivery::new(settings.mail.as_ref(), &state).map_err(|e| Stop::new(exit::CONFIGURATION, e.to_string()))?;
    let path = cli.config.clone();
    let reload = Box::new(move || load::rules(&path).map_err(|stop| stop.message));
    match scan::runtime()?.block_on(serve(rules, store, state, delivery, reload)) {
        Ended::Told => Ok(0),
        Ended::State(error) => Err(error.into()),
        Ended::Io(error) => Err(Stop::new(exit::UNAVAILABLE, error.to_string())),
    }
}
