//! Tokens and pairing codes: made from the system's randomness, kept as hashes.

use crate::daemon::hex::hex;
use sha2::{Digest, Sha256};

/// Tells people and programs that look for leaked secrets what it is.
const PREFIX: &str = "swingd_";
/// 256 bits.
const TOKEN_BYTES: usize = 32;

/// Without 0 and O, 1, I and L: what is read aloud or typed from a screen is not mistaken.
const ALPHABET: &[u8; 31] = b"23456789ABCDEFGHJKMNPQRSTUVWXYZ";
/// 31⁸ are 39.6 bits.
const CODE_CHARS: usize = 8;
/// The largest multiple of the alphabet's length that a byte holds: bytes beyond it would prefer some characters.
const UNBIASED: u8 = 248;

/// The system has no randomness.
#[derive(Debug, thiserror::Error)]
#[error("the system gives no random numbers: {0}; expected them always")]
pub struct NoRandomness(getrandom::Error);

/// A new token.
///
/// # Errors
/// If the system has no randomness.
pub fn new_token() -> Result<String, NoRandomness> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes).map_err(NoRandomness)?;
    Ok(PREFIX.to_owned() + &hex(&bytes))
}

/// A new pairing code, as eight characters.
///
/// # Errors
/// If the system has no randomness.
pub fn new_code() -> Result<String, NoRandomness> {
    let mut code = String::new();
    while code.len() < CODE_CHARS {
        let mut byte = [0];
        getrandom::fill(&mut byte).map_err(NoRandomness)?;
        let [byte] = byte;
        let at = usize::from(byte) % ALPHABET.len();
        code.extend(ALPHABET.get(at).filter(|_| byte < UNBIASED).map(|&c| char::from(c)));
    }
    Ok(code)
}

/// A code as it was typed: without blanks and hyphens, in capitals. `None` if it cannot be one.
pub fn code_of(typed: &str) -> Option<String> {
    let kept = typed.chars().filter(|c| !matches!(c, ' ' | '-')).take(CODE_CHARS + 1);
    let code: String = kept.map(|c| c.to_ascii_uppercase()).collect();
    let is_one = code.len() == CODE_CHARS && code.bytes().all(|byte| ALPHABET.contains(&byte));
    is_one.then_some(code)
}

/// A code as it is shown: in two halves.
pub fn shown(code: &str) -> String {
    code.split_at_checked(CODE_CHARS / 2).map_or_else(|| code.to_owned(), |(a, b)| format!("{a}-{b}"))
}

/// SHA-256 in hexadecimal: how tokens are kept and looked up. Of 256 random bits no salt or slow hash is needed.
pub fn hash(secret: &str) -> String {
    hex(&digest(secret))
}

/// SHA-256.
pub fn digest(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// Compares in a time that does not depend on where they differ.
pub fn is_same(a: &[u8; 32], b: &[u8; 32]) -> bool {
    std::hint::black_box(a.iter().zip(b).fold(0, |differ, (a, b)| differ | (a ^ b))) == 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn secrets_have_the_bits_that_are_promised_and_do_not_repeat() {
        let tokens: BTreeSet<_> = (0..100).map(|_| new_token().unwrap()).collect();
        assert!(tokens.len() == 100 && tokens.iter().all(|token| token.len() == PREFIX.len() + 64));
        assert!((ALPHABET.len() as f64).log2() * CODE_CHARS as f64 > 39.0);
        assert_eq!(usize::from(UNBIASED) % ALPHABET.len(), 0);
        let codes: BTreeSet<_> = (0..100).map(|_| new_code().unwrap()).collect();
        assert!(codes.len() == 100 && codes.iter().all(|code| code_of(code).as_ref() == Some(code)), "{codes:?}");
        let used: BTreeSet<u8> = codes.iter().flat_map(|code| code.bytes()).collect();
        assert_eq!(used.len(), ALPHABET.len(), "800 characters leave none of 31 out but once in 10⁹ runs");
    }

    #[test]
    fn a_code_is_taken_as_people_type_it() {
        assert_eq!(shown("ABCD2345"), "ABCD-2345");
        for typed in ["ABCD2345", "abcd-2345", " ab cd 23 45 "] {
            assert_eq!(code_of(typed).as_deref(), Some("ABCD2345"), "{typed}");
        }
        for typed in ["", "ABCD234", "ABCD23456", "ABCD-234O", "ABCD-2341", "ÄBCD2345", "ABCD-2345ABCD-2345"] {
            assert_eq!(code_of(typed), None, "{typed}");
        }
    }

    #[test]
    fn the_hash_is_that_of_fips_180_4() {
        assert_eq!(hash("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert!(is_same(&digest("a"), &digest("a")) && !is_same(&digest("a"), &digest("b")));
    }
}
