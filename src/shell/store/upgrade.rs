//! An older state becomes one of this program's version: step by step, each whole or not at all, and
//! not without a copy of what was there, so that the older program can be put back.

use std::path::PathBuf;

use super::{Result, Store, StoreError};

impl Store {
    /// The version of the tables.
    pub(super) fn version(&self) -> Result<i64> {
        Ok(self.connection.query_row("PRAGMA user_version", [], |row| row.get(0))?)
    }

    /// Refuses a state older than version `known`: the service that runs beside us may be the older program,
    /// and its tables are not changed under it.
    pub(super) fn refuse_older(&self, known: i64) -> Result<()> {
        match self.version()? {
            found if found < known => Err(StoreError::Older { path: self.path.clone(), found, known }),
            _ => Ok(()),
        }
    }

    /// Where the copy made before an upgrade from `version` is: `cowlwatch-version-1.sqlite`.
    pub(super) fn copy_of(&self, version: i64) -> PathBuf {
        self.path.with_file_name(format!("cowlwatch-version-{version}.sqlite"))
    }

    /// Copies an older state beside itself, then brings it up to date.
    ///
    /// # Errors
    /// The copy cannot be written, or a step fails: the state is then of the version before that step.
    pub(super) fn upgrade(&mut self, steps: &[&str]) -> Result<()> {
        let found = self.version()?;
        if found >= steps.len() as i64 {
            return Ok(());
        }
        let copy = self.copy_of(found);
        match self.backup(&copy) {
            // One made by an attempt that went no further.
            Ok(()) | Err(StoreError::Exists { .. }) => {}
            Err(error) => return Err(error),
        }
        self.migrate(steps)?;
        tracing::info!(from = found, to = steps.len(), copy = %copy.display(), "state brought up to date");
        Ok(())
    }

    /// Brings the tables up to date.
    pub(super) fn migrate(&mut self, steps: &[&str]) -> Result<()> {
        let found = self.version()?;
        let done = usize::try_from(found)
            .map_err(|_| StoreError::Damaged { path: self.path.clone(), what: format!("state version {found}") })?;
        for (index, step) in steps.iter().enumerate().skip(done) {
            let transaction = self.connection.transaction()?;
            transaction.execute_batch(step)?;
            transaction.pragma_update(None, "user_version", index as i64 + 1)?;
            transaction.commit()?;
        }
        Ok(())
    }
}
