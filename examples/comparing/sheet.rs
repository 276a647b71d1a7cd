//! The sheet to take home of the same swings, asked of its route.

use super::direct::Direct;
use anyhow::ensure;
use std::path::Path;
use swingd::daemon::store::Store;
use uuid::Uuid;

/// The longest that a sheet took, of so many for each reader, s.
///
/// # Errors
/// If one is refused, or has no pictures.
pub async fn worst(store: &Store, folder: &Path, athlete: Uuid, between: &str, times: usize) -> anyhow::Result<f64> {
    let direct = Direct::new(store, folder, "north");
    let mut worst_s: f64 = 0.0;
    for reader in ["athlete", "instructor"] {
        let path = format!("/v1/athletes/{athlete}/report?for={reader}&then_to={between}&now_from={between}");
        for _ in 0..times {
            let (sheet, took_s) = direct.get(&path).await?;
            let text = String::from_utf8_lossy(&sheet);
            ensure!(text.contains("<svg") && text.contains("500 swings"), "{path}: not of all swings, or no pictures");
            worst_s = worst_s.max(took_s);
            println!("sheet for the {reader}, {} kB: {:.0} ms", sheet.len() / 1000, took_s * 1e3);
        }
    }
    Ok(worst_s)
}
