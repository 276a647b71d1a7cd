//! `swingd pair`: a code for another device, as text and as a QR code.

use super::config::{Config, ConfigArgs};
use super::door::{Content, Door};
use anyhow::Context;
use axum::http::Method;
use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};
use serde_json::{Value, json};
use std::io::Write;

/// What `pair` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct PairArgs {
    /// What the device may do
    #[arg(long, value_enum, default_value_t)]
    pub role: RoleArg,
    /// For how many days
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=3650))]
    pub days: u32,
    /// What the device is called in the list of tokens, if it does not say itself
    #[arg(long, default_value = "a paired device")]
    pub label: String,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

/// What a device may do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum RoleArg {
    /// See
    #[default]
    Viewer,
    /// See, and change what belongs to lessons
    Coach,
    /// Everything, also erase, export and say who may
    Owner,
}

/// Asks the running service for a code and shows it.
///
/// # Errors
/// If no service runs, or it gives no code.
pub fn run(args: &PairArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let (config, unknown) = Config::of_this_machine(&args.config)?;
    for variable in unknown {
        writeln!(err, "{variable}")?;
    }
    let role = match args.role {
        RoleArg::Viewer => "viewer",
        RoleArg::Coach => "coach",
        RoleArg::Owner => "owner",
    };
    let wanted = json!({ "role": role, "label": args.label, "days": args.days });
    let door = Door::to_service(&config)?;
    let answer = door.send(Method::POST, "/v1/pairings", &[], Content::Json(wanted))?.json()?;
    out.write_all(shown(&answer, role, args.days).context("the answer holds no code")?.as_bytes())?;
    Ok(out.flush()?)
}

/// What is printed for an answer.
fn shown(answer: &Value, role: &str, days: u32) -> Option<String> {
    let (code, expires) = (answer["code"].as_str()?, answer["expires"].as_str()?);
    let mut text = String::new();
    match answer["url"].as_str() {
        Some(url) => text += &format!("{}\n{url}\n", picture(url)?),
        None => text += "Other machines do not reach this service: it listens on this one alone (see http.listen).\n",
    }
    let expires = expires.parse::<jiff::Timestamp>().ok()?;
    text += &format!("code {code}, for a {role} for {days} days; good once, until {expires:.0}\n");
    Some(text)
}

/// A QR code (ISO/IEC 18004) in half blocks. The blocks are its light parts, which is right on a dark terminal; readers take
/// the reverse of it as well.
fn picture(text: &str) -> Option<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M).ok()?;
    let (dark, light) = (Dense1x2::Light, Dense1x2::Dark);
    Some(code.render::<Dense1x2>().dark_color(dark).light_color(light).quiet_zone(true).build())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_shown_as_text_and_as_a_picture_of_it() {
        let answer = json!({
            "code": "ABCD-2345", "expires": "2026-11-25T16:20:18.123456Z", "url": "http://192.0.2.7:7951/pair#ABCD-2345"
        });
        let text = shown(&answer, "coach", 30).unwrap();
        assert!(text.ends_with(
            "\nhttp://192.0.2.7:7951/pair#ABCD-2345\n\
             code ABCD-2345, for a coach for 30 days; good once, until 2026-11-25T16:20:18Z\n"
        ));
        let lines: Vec<_> = text.lines().collect();
        // Version 3 is 29 modules wide, and 4 quiet ones on each side.
        let picture = &lines[..lines.len() - 2];
        assert!(picture.len() == 19 && picture.iter().all(|line| line.chars().count() == 37), "{text}");
        assert_eq!(picture[0], "█".repeat(37), "the quiet zone is light");
    }

    #[test]
    fn without_a_network_there_is_only_the_code() {
        let answer = json!({"code": "ABCD-2345", "expires": "2026-11-25T16:20:18Z", "url": null});
        let text = shown(&answer, "viewer", 1).unwrap();
        assert!(text.starts_with("Other machines do not reach") && text.lines().count() == 2, "{text}");
        assert_eq!(shown(&json!({}), "viewer", 1), None);
    }
}
