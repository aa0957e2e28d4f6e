//! Tables of keys in a TOML file, each with its line.
//!
//! A mechanic who edits a file wants every mistake named at once, with its line and what would be
//! right, and the rest of the file to count. Deserialisers stop at the first mistake; so the file
//! becomes a tree of values with lines, and readers ask it for each key by name. What nobody asked
//! for is an unknown key and is refused with the nearest known one.

mod expected;
mod keys;
mod problems;
mod tree;

pub use expected::{Range, nearest, one_of};
pub use keys::Keys;
pub use problems::Problems;
pub use tree::{Node, Table, Value, read};

#[cfg(test)]
mod tests;
