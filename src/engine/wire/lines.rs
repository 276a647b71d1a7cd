//! Bytes to lines, in constant memory however long a line is.

use std::io::{ErrorKind, Read, Result};

/// The longest line that is passed on whole, bytes. A row of ten numbers has about a hundred.
pub(super) const LONGEST_LINE: usize = 256 * 1024;

/// One line, without its line end (`\n` or `\r\n`).
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Line<'a> {
    pub(super) text: &'a [u8],
    /// From 1.
    pub(super) number: u64,
    /// The line was longer than [`LONGEST_LINE`]; only its beginning is here.
    pub(super) cut: bool,
}

/// Reads lines through one buffer.
#[derive(Debug)]
pub(super) struct LineReader<R> {
    source: R,
    buffer: Box<[u8]>,
    start: usize,
    end: usize,
    number: u64,
    at_end: bool,
    /// The rest of a cut line is still to be skipped.
    skipping: bool,
}

impl<R: Read> LineReader<R> {
    pub(super) fn new(source: R) -> Self {
        let buffer = vec![0; LONGEST_LINE].into_boxed_slice();
        Self { source, buffer, start: 0, end: 0, number: 0, at_end: false, skipping: false }
    }

    /// The next line; `None` at the end.
    pub(super) fn next_line(&mut self) -> Result<Option<Line<'_>>> {
        if self.skipping {
            self.skip_rest_of_line()?;
        }
        let mut searched = 0;
        let (length, cut) = loop {
            let unread = &self.buffer[self.start..self.end];
            if let Some(length) = unread[searched..].iter().position(|&byte| byte == b'\n') {
                break (searched + length, false);
            }
            searched = unread.len();
            if searched == self.buffer.len() {
                break (searched, true);
            }
            if self.at_end {
                break (searched, false);
            }
            self.fill()?;
        };
        if self.at_end && length == 0 && self.start == self.end {
            return Ok(None);
        }
        Ok(Some(self.take_line(length, cut)))
    }

    fn take_line(&mut self, length: usize, cut: bool) -> Line<'_> {
        let text_start = self.start;
        self.start = (text_start + length + usize::from(!cut)).min(self.end);
        self.number += 1;
        self.skipping = cut;
        let text = &self.buffer[text_start..text_start + length];
        Line { text: text.strip_suffix(b"\r").unwrap_or(text), number: self.number, cut }
    }

    fn skip_rest_of_line(&mut self) -> Result<()> {
        loop {
            let unread = &self.buffer[self.start..self.end];
            if let Some(length) = unread.iter().position(|&byte| byte == b'\n') {
                self.start += length + 1;
                break;
            }
            self.start = self.end;
            if self.at_end {
                break;
            }
            self.fill()?;
        }
        self.skipping = false;
        Ok(())
    }

    /// Moves what is unread to the front and reads more behind it.
    fn fill(&mut self) -> Result<()> {
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        let count = loop {
            match self.source.read(&mut self.buffer[self.end..]) {
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                result => break result?,
            }
        };
        self.end += count;
        self.at_end = count == 0;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines_of(source: impl Read) -> Vec<(u64, Vec<u8>, bool)> {
        let mut reader = LineReader::new(source);
        let mut lines = Vec::new();
        while let Some(line) = reader.next_line().unwrap() {
            lines.push((line.number, line.text.to_vec(), line.cut));
        }
        lines
    }

    #[test]
    fn an_endless_line_is_cut_and_the_next_is_whole() {
        let mut text = b"first\n".to_vec();
        text.extend(std::iter::repeat_n(b'x', 5 * LONGEST_LINE));
        text.extend(b"\nlast\r\nline");
        let lines = lines_of(&text[..]);
        assert_eq!(lines.len(), 4);
        assert_eq!((lines[1].1.len(), lines[1].2), (LONGEST_LINE, true));
        assert_eq!(lines[2], (3, b"last".to_vec(), false));
        assert_eq!(lines[3], (4, b"line".to_vec(), false));
    }

    /// Hands out a few bytes at a time.
    struct Trickle<'a>(&'a [u8]);

    impl Read for Trickle<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
            let count = buffer.len().min(self.0.len()).min(3);
            buffer[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(256))]

        #[test]
        fn lines_are_those_of_the_standard_library(text in "[a,\r\n]{0,60}") {
            let expected: Vec<_> = text.split_inclusive('\n')
                .map(|line| line.strip_suffix('\n').unwrap_or(line))
                .map(|line| line.strip_suffix('\r').unwrap_or(line).as_bytes().to_vec())
                .collect();
            let found: Vec<_> = lines_of(Trickle(text.as_bytes())).into_iter().map(|(_, line, _)| line).collect();
            prop_assert_eq!(found, expected);
        }
    }
}
