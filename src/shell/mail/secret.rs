//! The password of the mail server, and the ways it must not be kept.

use std::fmt;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::MailError;

/// Name of the systemd credential (`LoadCredential=smtp-password:…`).
const CREDENTIAL: &str = "smtp-password";

/// Where the password is; read anew for every connection, so that a changed one counts at once.
#[derive(Clone)]
pub struct Secret {
    path: PathBuf,
    /// A systemd credential: its folder, not its mode, protects it.
    credential: bool,
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Secret({})", self.path.display())
    }
}

impl Secret {
    /// The systemd credential if the service has one, else the configured file.
    pub fn find(file: Option<&Path>, credentials: Option<&Path>) -> Option<Self> {
        let credential = credentials.map(|c| c.join(CREDENTIAL)).filter(|c| c.exists());
        match (credential, file) {
            (Some(path), _) => Some(Self { path, credential: true }),
            (None, Some(path)) => Some(Self { path: path.to_owned(), credential: false }),
            (None, None) => None,
        }
    }

    /// The password, without the newline editors leave.
    ///
    /// # Errors
    /// A file others can read, an empty one, one that cannot be read.
    pub fn read(&self) -> Result<String, MailError> {
        let io = |source| MailError::File { path: self.path.clone(), source };
        let meta = fs::metadata(&self.path).map_err(io)?;
        if !self.credential && meta.permissions().mode() & 0o077 != 0 {
            return Err(MailError::Readable { path: self.path.clone(), mode: meta.permissions().mode() & 0o777 });
        }
        let text = fs::read_to_string(&self.path).map_err(io)?;
        let password = text.strip_suffix('\n').unwrap_or(&text);
        let password = password.strip_suffix('\r').unwrap_or(password);
        if password.is_empty() || password.contains(['\n', '\r', '\0']) {
            return Err(MailError::Password { path: self.path.clone() });
        }
        Ok(password.to_owned())
    }
}
