//! The pages in real headless Chromium, through chromedriver (W3C, *WebDriver*), as somebody with hands, eyes or a screen reader
//! has them. Where chromedriver is missing, it is said, and nothing is run; tests/all installs it, and axe-core.

mod first_run;
mod live;
mod measure;
mod past;
mod shell;
mod support;
