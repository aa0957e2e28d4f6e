//! `mail-test` and `digest`: what would go out, and whether it gets there.

use chrono::Utc;
use clap::Args;

use super::seen::Seen;
use super::{Cli, Stop, View, exit, load, output, scan};
use crate::report::{digest as letter, letters};
use crate::shell::mail::{self, Delivery, Recipients};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch digest
  cowlwatch digest --html --as-of 2026-03-01T06:30 > digest.html")]
pub struct DigestOptions {
    /// Print the HTML part instead of the plain text; pictures are inside.
    #[arg(long)]
    pub html: bool,
    #[command(flatten)]
    pub view: View,
}

/// Prints the digest as it would go now; nothing is stored or sent.
pub fn digest(cli: &Cli, options: &DigestOptions) -> Result<u8, Stop> {
    let Seen { done, alerts, .. } = Seen::of(cli, options.view.as_of.as_deref())?;
    if let Some(morning) = &done.morning {
        let letter = letter::digest(morning);
        match (options.view.json, options.html) {
            (true, _) => output::json(&serde_json::json!({ "subject": letter.subject, "text": letter.text }))?,
            (_, true) => output::line(&letter.standalone_html())?,
            _ => output::print(&format!("Subject: {}\n\n{}", letter.subject, letter.text))?,
        }
    }
    Ok(scan::failing(&alerts, options.view.fail_on.map(Into::into)))
}

/// Sends a test letter at once and says what became of it.
pub fn test(cli: &Cli) -> Result<u8, Stop> {
    let rules = load::rules(&cli.config)?;
    let settings = &rules.config.settings;
    let configured = settings.mail.as_ref();
    let now = Utc::now();
    let letter = letters::test(settings.fleet.operator.as_deref(), now, settings.fleet.time_zone);
    let to = mail::recipients(Recipients::Program, configured, &settings.alerts);
    let post = mail::Post { kind: "test", slug: "test", made: now, from: mail::sender(configured), to: &to };
    let mark = format!("test-{}", now.timestamp_millis());
    let waiting = mail::unkept(&letter, post, &mark).map_err(|e| Stop::new(exit::CONFIGURATION, e))?;
    let delivery =
        Delivery::new(configured, &settings.fleet.state).map_err(|e| Stop::new(exit::CONFIGURATION, e.to_string()))?;
    let mut refused = Vec::new();
    let mut taken = Vec::new();
    scan::runtime()?.block_on(delivery.deliver(vec![waiting], now, |attempt| {
        taken.extend(attempt.taken);
        refused.extend(attempt.refused);
    }));
    let server = configured.map_or_else(
        || format!("{}", settings.fleet.state.join("outbox").display()),
        |m| format!("{}:{}", m.server, m.port),
    );
    if refused.is_empty() && !taken.is_empty() {
        output::line(&format!("{server} took the test message for {}.", taken.join(", ")))?;
        return Ok(0);
    }
    let why = if refused.is_empty() { "no answer".to_owned() } else { refused.join("; ") };
    Err(Stop::new(exit::LATER, format!("{server} did not take the test message for {}: {why}", to.join(", "))))
}
