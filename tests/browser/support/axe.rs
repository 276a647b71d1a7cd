//! What a person has to be able to see, reach and read, as far as a machine can check it: axe-core's rules (`AXE_CORE` names
//! axe.min.js), the size of what is touched, and that a page needs no scrolling sideways.

use super::browser::{Browser, Light, Screen};
use super::missing::is_missing;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::LazyLock;

/// axe-core's own text; none where it is not installed, which is said once, unless it is required.
static AXE: LazyLock<Option<String>> = LazyLock::new(|| {
    let Some(path) = std::env::var_os("AXE_CORE").map(PathBuf::from) else {
        is_missing("AXE_CORE names no axe.min.js: no page is checked by it");
        return None;
    };
    Some(std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display())))
});

/// Runs it on the page and tells what is serious: rule, what it is about, and where.
const RUN: &str = "const done = arguments[arguments.length - 1]; \
    axe.run(document, {resultTypes: ['violations']}).then((found) => done(found.violations \
    .filter((rule) => ['serious', 'critical'].includes(rule.impact)) \
    .flatMap((rule) => rule.nodes.map((node) => `${rule.id}: ${rule.help}: ${node.html}: ${node.failureSummary}`))), \
    (error) => done([`axe: ${error}`]))";

/// What is to be touched and is smaller than 44 px (WCAG 2.2, 2.5.5), but for links within text; a box to check counts with its
/// label.
const SMALL: &str = "const targets = 'button, [role=button], .button, summary, select, textarea, input, nav a'; \
    return [...document.querySelectorAll(targets)].filter((at) => at.checkVisibility() && at.getClientRects().length > 0) \
    .map((at) => ['checkbox', 'radio'].includes(at.type) ? at.closest('label') ?? at : at) \
    .filter((at) => !at.closest('.unseen') && !at.classList.contains('unseen')) \
    .map((at) => [at, at.getBoundingClientRect()]).filter(([, box]) => box.width < 43.9 || box.height < 43.9) \
    .map(([at, box]) => `${box.width.toFixed(1)} x ${box.height.toFixed(1)}: ${at.outerHTML.slice(0, 160)}`)";

/// How much wider than the screen the page is, and what sticks out.
const WIDE: &str = "const page = document.documentElement; \
    const wide = Math.max(page.scrollWidth, innerWidth) - arguments[0]; if (wide <= 0) return []; \
    return [...document.querySelectorAll('body *')].filter((at) => at.getBoundingClientRect().right > arguments[0] + 0.5) \
    .slice(0, 5).map((at) => `${wide} px: ${at.outerHTML.slice(0, 120)}`).concat([`${wide} px`])";

/// Relative luminance (WCAG 2.2) of the page's background and of its text.
const LUMINANCE: &str = "const linear = (c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; \
    const of = (colour) => { const [r, g, b] = colour.match(/[\\d.]+/g).map(Number); \
    return 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b); }; \
    const style = getComputedStyle(document.body); return [of(style.backgroundColor), of(style.color)]";

impl Browser {
    /// No serious finding of axe-core, as the page is now.
    pub async fn is_accessible(&self, what: &str) {
        let Some(axe) = AXE.as_ref() else { return };
        self.run(axe, &[]).await;
        let found = self.client.execute_async(RUN, Vec::new()).await.unwrap_or_else(|error| panic!("{what}: {error}"));
        assert_eq!(lines(&found), Vec::<&str>::new(), "{what}");
    }

    /// Nothing to be touched is too small, and the page is no wider than this screen.
    pub async fn fits(&self, screen: Screen, what: &str) {
        let wide = self.run(WIDE, &[json!(screen.width)]).await;
        assert_eq!(lines(&wide), Vec::<&str>::new(), "{what} is wider than the {}", screen.name);
        let small = self.run(SMALL, &[]).await;
        assert_eq!(lines(&small), Vec::<&str>::new(), "{what} on the {}: too small to touch", screen.name);
    }

    /// The page is light or dark, and its text can be told from it.
    pub async fn is_in(&self, light: Light) {
        let of = self.run(LUMINANCE, &[]).await;
        let (paper, ink) = (of[0].as_f64().unwrap(), of[1].as_f64().unwrap());
        assert_eq!(paper < 0.05, light == Light::Dark, "background {paper}, text {ink}");
        let contrast = (paper.max(ink) + 0.05) / (paper.min(ink) + 0.05);
        assert!(contrast >= 7.0, "contrast {contrast}");
    }
}

fn lines(found: &Value) -> Vec<&str> {
    let list = found.as_array().unwrap_or_else(|| panic!("a list: {found}"));
    list.iter().map(|line| line.as_str().unwrap_or_default()).collect()
}
