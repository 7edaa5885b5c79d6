//! Whether two things are the same, told by a hash.

use std::fmt;
use std::io::{self, Write};

use serde::{Deserialize, Serialize};
use xxhash_rust::xxh3::Xxh3;

/// 128-bit hash (XXH3), as 32 hexadecimal digits. It guards against mistakes, not against malice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(in crate::fleet) struct Fingerprint(String);

struct Hashing(Xxh3);

impl Write for Hashing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Fingerprint {
    /// Of bytes.
    pub(in crate::fleet) fn of_bytes(bytes: &[u8]) -> Self {
        let mut hash = Xxh3::new();
        hash.update(bytes);
        Self(format!("{:032x}", hash.digest128()))
    }

    /// Of everything that a value says of itself.
    pub(in crate::fleet) fn of(value: &impl Serialize) -> Self {
        let mut hashing = io::BufWriter::with_capacity(1 << 16, Hashing(Xxh3::new()));
        let outcome = serde_json::to_writer(&mut hashing, value);
        match (outcome, hashing.into_inner()) {
            (Ok(()), Ok(hashing)) => Self(format!("{:032x}", hashing.0.digest128())),
            // a value that cannot be written has no fingerprint, so nothing made from it is taken for another's
            _ => Self(String::new()),
        }
    }

    /// Whether it stands for anything.
    pub(in crate::fleet) fn is_known(&self) -> bool {
        !self.0.is_empty()
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
