//! Decimal text to the nearest double, quickly.

/// Powers of ten that a double holds exactly.
const POWERS_OF_TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// The largest integer up to which doubles hold all.
const EXACT_INTEGERS: u64 = 1 << 53;

/// The double nearest to `text`, or `None` if it is not a number. Spaces around it are allowed.
///
/// Plain decimals of at most 2⁵³ in their digits and 22 places after the point are one division of two exact doubles,
/// which rounds once and so correctly (Clinger, *How to read floating point numbers accurately*, PLDI 1990, § 4). All
/// else goes to the standard library; both give the same double, held by `the_quick_way_agrees_with_the_plain_one`.
pub(super) fn parse_decimal(text: &[u8]) -> Option<f64> {
    quick(text).or_else(|| plain(text))
}

fn quick(text: &[u8]) -> Option<f64> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        _ => (false, text),
    };
    // Nineteen digits cannot overflow 64 bits; more go the plain way.
    if digits.is_empty() || digits.len() > 19 {
        return None;
    }
    let (mut integer, mut places, mut point) = (0_u64, 0_usize, false);
    for &byte in digits {
        let digit = byte.wrapping_sub(b'0');
        if digit <= 9 {
            integer = integer * 10 + u64::from(digit);
            places += usize::from(point);
        } else if byte == b'.' && !point {
            point = true;
        } else {
            return None;
        }
    }
    let some_digit = digits.len() > usize::from(point);
    if !some_digit || integer > EXACT_INTEGERS {
        return None;
    }
    let size = integer as f64 / POWERS_OF_TEN[places];
    Some(if negative { -size } else { size })
}

fn plain(text: &[u8]) -> Option<f64> {
    std::str::from_utf8(text).ok()?.trim().parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(256))]

        #[test]
        fn the_quick_way_agrees_with_the_plain_one(text in "-?[0-9]{0,12}\\.?[0-9]{0,9}") {
            if let Some(found) = quick(text.as_bytes()) {
                prop_assert_eq!(Some(found.to_bits()), plain(text.as_bytes()).map(f64::to_bits));
            }
        }

        #[test]
        fn any_bytes_are_a_number_or_not(bytes in proptest::collection::vec(any::<u8>(), 0..40)) {
            if let Some(found) = quick(&bytes) {
                prop_assert_eq!(Some(found), plain(&bytes));
            }
        }

        #[test]
        fn shortest_text_comes_back_bit_for_bit(bits in any::<u64>()) {
            let value = f64::from_bits(bits);
            if value.is_finite() {
                let text = format!("{value:?}");
                prop_assert_eq!(parse_decimal(text.as_bytes()).map(f64::to_bits), Some(bits));
            }
        }
    }

    #[test]
    fn edges() {
        for (text, expected) in [
            ("0", Some(0.0)),
            ("-0.0", Some(-0.0)),
            (" 1.5 ", Some(1.5)),
            ("+2", Some(2.0)),
            (".5", Some(0.5)),
            ("5.", Some(5.0)),
            ("1e-3", Some(1e-3)),
            ("9007199254740993", Some(9007199254740992.0)),
            (".", None),
            ("-", None),
            ("", None),
            ("1.2.3", None),
            ("1,5", None),
            ("0x10", None),
            ("\u{0661}", None),
        ] {
            let found = parse_decimal(text.as_bytes());
            assert_eq!(found.map(f64::to_bits), expected.map(f64::to_bits), "{text:?}");
        }
    }
}
