//! Opens a file with suspicion and notices if it changes under the reader.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use rustix::fs::{Mode, OFlags};

use super::list::stat;

/// An opened regular file; everything read through it is hashed.
#[derive(Debug)]
pub struct Opened {
    file: File,
    hasher: blake3::Hasher,
    before: (u64, i64, u64),
}

impl Opened {
    /// Never follows a link, never waits for a pipe, refuses what is not a regular file.
    pub fn open(path: &Path) -> io::Result<Self> {
        let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let file = File::from(rustix::fs::open(path, flags, Mode::empty())?);
        let metadata = file.metadata()?;
        if !metadata.is_file() {
            return Err(io::Error::other("not a regular file"));
        }
        Ok(Self { file, hasher: blake3::Hasher::new(), before: stat(&metadata) })
    }

    /// Size, time and inode when it was opened.
    pub fn stat(&self) -> (u64, i64, u64) {
        self.before
    }

    /// The whole content, if it is no larger than `limit` bytes.
    pub fn content(&mut self, limit: u64) -> io::Result<Option<Vec<u8>>> {
        if self.before.0 > limit {
            return Ok(None);
        }
        let mut bytes = Vec::with_capacity(self.before.0 as usize);
        let mut limited = Read::by_ref(&mut self.file).take(limit + 1);
        limited.read_to_end(&mut bytes)?;
        self.hasher.update(&bytes);
        Ok((bytes.len() as u64 <= limit).then_some(bytes))
    }

    /// Whether the file is still what it was when opened.
    pub fn held_still(&self) -> bool {
        self.file.metadata().is_ok_and(|m| stat(&m) == self.before)
    }

    /// Hash of everything read.
    pub fn hash(&self) -> [u8; 32] {
        *self.hasher.finalize().as_bytes()
    }

    /// Another handle on the same file, from its beginning.
    pub fn again(&self) -> io::Result<File> {
        use std::io::Seek;
        let mut file = self.file.try_clone()?;
        file.rewind()?;
        Ok(file)
    }
}

impl Read for Opened {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.file.read(buffer)?;
        self.hasher.update(&buffer[..n]);
        Ok(n)
    }
}
