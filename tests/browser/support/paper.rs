//! A page as it is printed.

use super::browser::{Browser, Light};
use serde_json::json;

/// What is to be touched or leads elsewhere, and would be printed.
const TOUCHED: &str = "return [...document.querySelectorAll('nav, .top, button, .skip')].filter((at) => at.checkVisibility()) \
    .map((at) => at.outerHTML.slice(0, 120))";

impl Browser {
    /// Prints the page: nothing to be touched is on it, and it is light. How many sheets it takes.
    pub async fn prints(&self) -> usize {
        self.devtools("Emulation.setEmulatedMedia", json!({"media": "print"})).await;
        assert_eq!(self.run(TOUCHED, &[]).await, json!([]), "printed");
        self.is_in(Light::Light).await;
        self.devtools("Emulation.setEmulatedMedia", json!({"media": ""})).await;
        let printed = self.devtools("Page.printToPDF", json!({"preferCSSPageSize": true})).await;
        let pdf = bytes_of(printed["data"].as_str().expect("a document"));
        assert!(pdf.starts_with(b"%PDF-"), "no PDF");
        // Every sheet is an object of this type (ISO 32000-1, 7.7.3.3); their list is of another one.
        let sheet = b"/Type /Page";
        let is_sheet = |at: &[u8]| at.starts_with(sheet) && !at[sheet.len()..].starts_with(b"s");
        (0..pdf.len()).filter(|place| is_sheet(&pdf[*place..])).count()
    }
}

/// Base 64 (RFC 4648).
fn bytes_of(text: &str) -> Vec<u8> {
    let alphabet = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let (mut bytes, mut bits, mut held) = (Vec::new(), 0_u32, 0);
    for letter in text.bytes().take_while(|letter| *letter != b'=') {
        let six = alphabet.iter().position(|one| *one == letter).expect("base 64");
        (bits, held) = (bits << 6 | six as u32, held + 6);
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held) as u8);
        }
    }
    bytes
}
