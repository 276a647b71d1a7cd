//! Somebody's hands: what is touched and typed, found by what it is called.

use super::browser::Browser;
use super::commands::is_passing;
use super::patience::WAIT;
use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use serde_json::{Value, json};
use std::path::Path;
use std::time::Duration;
use tokio::time::{Instant, sleep};

const FIND: &str = include_str!("find.js");
const AGAIN: Duration = Duration::from_millis(40);

/// How WebDriver writes an element in JSON.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// The Tab key, as WebDriver calls it.
pub const TAB: &str = "\u{E004}";
/// The Enter key.
pub const ENTER: &str = "\u{E007}";

impl Browser {
    /// Touches the button, link or summary of this name, as soon as it is there.
    pub async fn press(&self, name: &str) {
        self.on_element("touch", name, async |element: &Element| element.click().await).await;
    }

    /// Types into the field of this name, in place of what is in it.
    pub async fn enter(&self, field: &str, text: &str) {
        self.on_element("field", field, async |element: &Element| {
            element.clear().await?;
            element.send_keys(text).await
        })
        .await;
    }

    /// Gives a file to the field of this name.
    pub async fn give(&self, field: &str, file: &Path) {
        let path = file.display().to_string();
        self.on_element("field", field, async |element: &Element| element.send_keys(&path).await).await;
    }

    /// Touches the field of this name: a box to check.
    pub async fn check(&self, field: &str) {
        self.on_element("field", field, async |element: &Element| element.click().await).await;
    }

    /// Takes this choice of the field.
    pub async fn choose(&self, field: &str, choice: &str) {
        self.on_element("field", field, async |element: &Element| element.select_by_label(choice).await).await;
    }

    /// A key, for whatever has the focus.
    pub async fn key(&self, key: &str) {
        let value = key.chars().next().expect("a key");
        let keyboard = KeyActions::new("keyboard".to_owned());
        let press = keyboard.then(KeyAction::Down { value }).then(KeyAction::Up { value });
        self.client.perform_actions(press).await.expect("a key");
    }

    /// Goes on by Tab until what has the focus has this name; how it is marked: the width of its outline, px.
    pub async fn tab_to(&self, name: &str) -> f64 {
        const FOCUSED: &str = "const at = document.activeElement; const style = getComputedStyle(at); \
            return [(at.getAttribute('aria-label') || at.textContent).replace(/\\s+/g, ' ').trim(), \
            style.outlineStyle === 'none' ? 0 : parseFloat(style.outlineWidth)]";
        let mut passed = Vec::new();
        for _ in 0..100 {
            self.key(TAB).await;
            let at = self.run(FOCUSED, &[]).await;
            let here = at[0].as_str().unwrap_or_default().to_owned();
            if here.to_lowercase().starts_with(&name.to_lowercase()) {
                return at[1].as_f64().unwrap_or_default();
            }
            passed.push(here);
        }
        panic!("the Tab key does not lead to {name:?}: {passed:?}");
    }

    /// Touches it as soon as it is there, and again if it went away meanwhile: parts of a page are drawn anew.
    async fn on_element(&self, role: &str, name: &str, touch: impl AsyncFn(&Element) -> Result<(), CmdError>) {
        let deadline = Instant::now() + WAIT;
        loop {
            let found = self.client.execute(FIND, vec![json!(role), json!(name)]).await.unwrap_or(Value::Null);
            let why = match found[ELEMENT].as_str() {
                None => "there is none".to_owned(),
                Some(id) => match touch(&Element::from_element_id(self.client.clone(), id.to_owned().into())).await {
                    Ok(()) => return,
                    Err(error) if is_passing(&error) => error.to_string(),
                    Err(error) => panic!("{role} {name:?}: {error}"),
                },
            };
            if Instant::now() > deadline {
                panic!("no {role} {name:?} to touch: {why}; on the screen is:\n{}", self.text().await);
            }
            sleep(AGAIN).await;
        }
    }
}
