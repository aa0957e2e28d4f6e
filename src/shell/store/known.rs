//! The files read so far, as a look at the fleet folder needs them: a hundred thousand in some ten megabytes.

use super::FileRow;

/// Known files in order of path.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// All paths, one after the other.
    paths: String,
    files: Vec<File>,
}

#[derive(Clone, Copy, Debug)]
struct File {
    from: u32,
    to: u32,
    size: u64,
    mtime_ns: i64,
    inode: u64,
    reader: u64,
    hash: [u8; 32],
}

impl Known {
    /// Adds a file; paths come in order.
    pub fn push(&mut self, row: &FileRow) {
        let from = self.paths.len() as u32;
        self.paths.push_str(&row.path);
        let FileRow { size, mtime_ns, inode, reader, hash, .. } = *row;
        self.files.push(File { from, to: self.paths.len() as u32, size, mtime_ns, inode, reader, hash });
    }

    pub fn len(&self) -> usize {
        self.files.len()
    }

    pub fn is_empty(&self) -> bool {
        self.files.is_empty()
    }

    fn path(&self, file: &File) -> &str {
        self.paths.get(file.from as usize..file.to as usize).unwrap_or_default()
    }

    /// Where a file is in the order.
    pub fn find(&self, path: &str) -> Option<usize> {
        self.files.binary_search_by(|file| self.path(file).cmp(path)).ok()
    }

    /// Whether file `at` was last read with this size, time (ns) and inode by this version of the reader.
    pub fn unchanged(&self, at: usize, stat: (u64, i64, u64), reader: u64) -> bool {
        self.files.get(at).is_some_and(|f| (f.size, f.mtime_ns, f.inode) == stat && f.reader == reader)
    }

    /// All that is known of a file.
    pub fn row(&self, path: &str) -> Option<FileRow> {
        let file = self.files.get(self.find(path)?)?;
        let File { size, mtime_ns, inode, reader, hash, .. } = *file;
        let tail = path.split('/').next().unwrap_or_default().to_owned();
        Some(FileRow { path: path.to_owned(), tail, size, mtime_ns, inode, hash, reader })
    }

    /// All paths, in order.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.files.iter().map(|file| self.path(file))
    }
}
