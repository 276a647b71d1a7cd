//! Bytes as text.

/// Hexadecimal, in small letters, two digits a byte.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_byte_has_two_digits() {
        assert_eq!(super::hex(&[0, 10, 255]), "000aff");
    }
}
