//! The pages in real headless Chromium, through chromedriver (W3C, *WebDriver*), as somebody with hands, eyes or a screen reader
//! has them. Where chromedriver or axe-core is missing, it is said, and what needs it is left out, or fails with
//! `BROWSER_TESTS=required`; tests/all installs both and requires them.

mod first_run;
mod live;
mod measure;
mod pairing;
mod past;
mod setup;
mod shell;
mod support;
mod then_now;
