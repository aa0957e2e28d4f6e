//! Handing letters to a mail server.
//!
//! The library's own time limit covers the connection only; a server that hangs at the banner, in
//! STARTTLS or after the final dot would hold the outbox for ever. So each step list here runs under
//! a limit of its own. Nothing is sent before the connection is protected; a server that hides
//! STARTTLS gets neither the password nor the letter.

use std::future::Future;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use lettre::Address;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{AsyncSmtpConnection, Certificate, CertificateStore, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail as MailFrom, Rcpt, Rset};
use lettre::transport::smtp::extension::{ClientId, Extension, MailBodyParameter, MailParameter};

use super::secret::Secret;
use super::{Fault, MailError};
use crate::config::Mail;
use crate::config::meant::Security;
use crate::shell::store::Waiting;

/// Longest time to connect, protect the connection and log in, and longest time for one letter:
/// together the minute an attempt may take.
const PATIENCE: Duration = Duration::from_secs(30);
/// Longest time to say goodbye.
const GOODBYE: Duration = Duration::from_secs(2);

/// A mail server as configured.
#[derive(Clone, Debug)]
pub struct Smtp {
    server: String,
    port: u16,
    security: Security,
    username: Option<String>,
    secret: Option<Secret>,
    ca_file: Option<PathBuf>,
    patience: Duration,
}

/// What became of one letter.
#[derive(Debug)]
pub(super) struct Handed {
    pub taken: Vec<String>,
    /// Why not for the others, each named.
    pub refused: Option<Fault>,
    /// The connection can no longer be used.
    pub broken: bool,
}

impl Smtp {
    /// # Errors
    /// What of the configuration cannot work: no password, a readable password file, a CA file that is none.
    pub fn new(mail: &Mail) -> Result<Self, MailError> {
        let credentials = std::env::var_os("CREDENTIALS_DIRECTORY").map(PathBuf::from);
        let secret = Secret::find(mail.password_file.as_deref(), credentials.as_deref());
        let smtp = Self {
            server: mail.server.clone(),
            port: mail.port,
            security: mail.security,
            username: mail.username.clone(),
            secret,
            ca_file: mail.ca_file.clone(),
            patience: PATIENCE,
        };
        smtp.credentials()?;
        smtp.tls()?;
        Ok(smtp)
    }

    /// For tests: other limits than half a minute.
    #[must_use]
    pub fn with_patience(mut self, patience: Duration) -> Self {
        self.patience = patience;
        self
    }

    fn credentials(&self) -> Result<Option<Credentials>, MailError> {
        let Some(username) = &self.username else { return Ok(None) };
        let secret = self.secret.as_ref().ok_or(MailError::NoPassword)?;
        Ok(Some(Credentials::new(username.clone(), secret.read()?)))
    }

    fn tls(&self) -> Result<Option<TlsParameters>, MailError> {
        if self.security == Security::None {
            return Ok(None);
        }
        let mut builder = TlsParameters::builder(self.server.clone());
        if let Some(path) = &self.ca_file {
            let pem = std::fs::read(path).map_err(|source| MailError::File { path: path.clone(), source })?;
            let bad =
                |e: lettre::transport::smtp::Error| MailError::Authority { path: path.clone(), why: e.to_string() };
            // The library takes a file without certificates for an empty list.
            if memchr::memmem::find(&pem, b"-----BEGIN CERTIFICATE-----").is_none() {
                return Err(MailError::Authority { path: path.clone(), why: "no certificate in it".to_owned() });
            }
            let authority = Certificate::from_pem(&pem).map_err(bad)?;
            // An own authority replaces the public ones: nobody else can speak for this server.
            builder = builder.certificate_store(CertificateStore::None).add_root_certificate(authority);
        }
        builder.build_rustls().map(Some).map_err(|e| MailError::Tls(e.to_string()))
    }

    /// Connects, protects, logs in.
    pub(super) async fn connect(&self) -> Result<Session, Fault> {
        let session = within(self.patience, "connecting", self.connect_now()).await?;
        Ok(Session { connection: session, patience: self.patience })
    }

    async fn connect_now(&self) -> Result<AsyncSmtpConnection, Fault> {
        let credentials = self.credentials().map_err(|e| Fault::here(e.to_string()))?;
        let tls = self.tls().map_err(|e| Fault::here(e.to_string()))?;
        let addresses = self.resolve().await?;
        let hello = ClientId::default();
        let wrapper = tls.clone().filter(|_| self.security == Security::Tls);
        let connecting =
            AsyncSmtpConnection::connect_tokio1(&addresses[..], Some(self.patience), &hello, wrapper, None);
        let mut connection = connecting.await.map_err(|e| Fault::from_server("connecting", &e))?;
        if let Some(tls) = tls.filter(|_| self.security == Security::StartTls) {
            connection.starttls(tls, &hello).await.map_err(|e| Fault::from_server("STARTTLS", &e))?;
        }
        if self.security != Security::None && !connection.is_encrypted() {
            return Err(Fault::here("the connection is not encrypted".to_owned()));
        }
        if let Some(credentials) = credentials {
            let login = connection.auth(DEFAULT_MECHANISMS, &credentials).await;
            login.map_err(|e| Fault::from_server("logging in", &e))?;
        }
        Ok(connection)
    }

    async fn resolve(&self) -> Result<Vec<SocketAddr>, Fault> {
        let found = tokio::net::lookup_host((self.server.as_str(), self.port)).await;
        let found = found.map_err(|e| Fault::here(format!("{}: {e}", self.server)))?;
        let addresses: Vec<SocketAddr> = found.collect();
        if addresses.is_empty() {
            return Err(Fault::here(format!("{}: no address", self.server)));
        }
        if self.security == Security::None && !addresses.iter().all(|a| a.ip().is_loopback()) {
            return Err(Fault::here(format!(
                "security = \"none\" is for this machine only, and {} is elsewhere: nothing was sent",
                self.server
            )));
        }
        Ok(addresses)
    }
}

/// A connection that is ready for letters.
pub(super) struct Session {
    connection: AsyncSmtpConnection,
    patience: Duration,
}

impl Session {
    /// Hands over one letter, for each recipient the server will take it for.
    pub(super) async fn hand(&mut self, letter: &Waiting) -> Handed {
        let patience = self.patience;
        match within(patience, "handing over the letter", self.hand_now(letter)).await {
            Ok(handed) => handed,
            // Out of time, or the line went dead: whether the server has it is unknown, so it goes again.
            Err(fault) => Handed { taken: Vec::new(), broken: fault.dead, refused: Some(fault) },
        }
    }

    async fn hand_now(&mut self, letter: &Waiting) -> Result<Handed, Fault> {
        let from: Address = letter.from.parse().map_err(|e| Fault::here(format!("{}: {e}", letter.from)))?;
        let mut parameters = Vec::new();
        if !letter.message.is_ascii() && self.connection.server_info().supports_feature(Extension::EightBitMime) {
            parameters.push(MailParameter::Body(MailBodyParameter::EightBitMime));
        }
        if let Err(e) = self.connection.command(MailFrom::new(Some(from), parameters)).await {
            return self.refused(Fault::from_server("sender", &e)).await;
        }
        let (mut good, mut refused) = (Vec::new(), None::<Fault>);
        for to in &letter.to {
            let fault = match to.parse::<Address>() {
                Err(e) => Fault::here(format!("{to}: {e}")),
                Ok(address) => match self.connection.command(Rcpt::new(address, Vec::new())).await {
                    Ok(_) => {
                        good.push(to.clone());
                        continue;
                    }
                    Err(e) => Fault::from_server(to, &e),
                },
            };
            if fault.dead {
                return Err(fault);
            }
            refused = Some(match refused {
                Some(before) => before.and(fault),
                None => fault,
            });
        }
        if good.is_empty() {
            let fault = refused.unwrap_or_else(|| Fault::here("no recipients".to_owned()));
            return self.refused(fault).await;
        }
        if let Err(e) = self.connection.command(Data).await {
            return self.refused(Fault::from_server("data", &e)).await;
        }
        match self.connection.message(&letter.message).await {
            Ok(_) => Ok(Handed { taken: good, refused, broken: false }),
            Err(e) => {
                let fault = Fault::from_server("after the letter", &e);
                if fault.dead { Err(fault) } else { self.refused(fault).await }
            }
        }
    }

    /// The letter was refused; the connection is made ready for the next one.
    async fn refused(&mut self, fault: Fault) -> Result<Handed, Fault> {
        let broken = fault.dead || self.connection.command(Rset).await.is_err();
        Ok(Handed { taken: Vec::new(), refused: Some(fault), broken })
    }

    pub(super) async fn goodbye(mut self) {
        // Every letter has been answered for; a server that does not say goodbye changes nothing.
        let _ = tokio::time::timeout(GOODBYE, self.connection.quit()).await;
    }
}

async fn within<T>(limit: Duration, what: &str, step: impl Future<Output = Result<T, Fault>>) -> Result<T, Fault> {
    match tokio::time::timeout(limit, step).await {
        Ok(result) => result,
        Err(_) => Err(Fault::dead(format!("{what}: no answer within {} s", limit.as_secs_f64()))),
    }
}
