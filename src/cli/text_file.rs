//! Small files that people write.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Nobody writes more by hand.
pub(super) const LONGEST_BYTES: u64 = 1 << 20;

/// The whole text.
pub(super) fn text_of(path: &Path) -> io::Result<String> {
    let mut text = String::new();
    let length = File::open(path)?.take(LONGEST_BYTES + 1).read_to_string(&mut text)?;
    if length as u64 > LONGEST_BYTES {
        return Err(io::Error::other(format!("more than {LONGEST_BYTES} bytes")));
    }
    Ok(text)
}
