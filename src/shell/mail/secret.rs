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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// systemd.exec(5): credentials lie in a folder that only the service sees, each readable as mode 0440 at most.
    #[test]
    fn a_credential_of_the_service_comes_before_the_file() {
        let folder = tempfile::tempdir().unwrap();
        let (file, credentials) = (folder.path().join("password"), folder.path().join("credentials"));
        fs::create_dir(&credentials).unwrap();
        fs::write(&file, "of the file\n").unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
        let read = |file: Option<&Path>| Secret::find(file, Some(&credentials)).map(|s| s.read().unwrap());
        assert_eq!(read(None), None);
        assert_eq!(read(Some(&file)).as_deref(), Some("of the file"));
        fs::write(credentials.join(CREDENTIAL), "of systemd\r\n").unwrap();
        fs::set_permissions(credentials.join(CREDENTIAL), fs::Permissions::from_mode(0o440)).unwrap();
        assert_eq!(read(Some(&file)).as_deref(), Some("of systemd"));
        assert_eq!(read(None).as_deref(), Some("of systemd"));
        let shown = format!("{:?}", Secret::find(None, Some(&credentials)));
        assert!(!shown.contains("of systemd"), "{shown}");
    }
}
