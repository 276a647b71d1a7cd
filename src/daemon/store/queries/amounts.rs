//! The least change of each metric that matters to the instructor.

use super::super::StoreError;
use crate::compare::numbers::Amounts;
use crate::engine::metrics::Metric;
use sqlx::{AnyConnection, Row};

/// What the instructor said, and how often they did.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAmounts {
    /// In the order of [`Metric::ALL`], each in its own unit; `None`: nothing is said.
    pub set: [Option<f64>; Metric::COUNT],
    /// Grows with every change.
    pub version: i64,
}

impl SetAmounts {
    /// With the usual ones where nothing is said.
    pub fn amounts(&self) -> Amounts {
        let mut amounts = Amounts::default();
        for (amount, set) in amounts.0.iter_mut().zip(self.set) {
            *amount = set.unwrap_or(*amount);
        }
        amounts
    }
}

/// What is said. A metric that this program does not know, and an amount that cannot be, are as if nothing were.
///
/// # Errors
/// If it cannot be read.
pub async fn read(connection: &mut AnyConnection) -> Result<SetAmounts, StoreError> {
    let rows = sqlx::query("SELECT metric, amount, version FROM amounts").fetch_all(connection).await?;
    let mut said = SetAmounts { set: [None; Metric::COUNT], version: 1 };
    for row in rows {
        let key: String = row.try_get("metric")?;
        said.version = said.version.saturating_add(row.try_get("version")?);
        let amount: Option<f64> = row.try_get("amount")?;
        let place = Metric::ALL.iter().position(|metric| metric.key() == key);
        if let Some(set) = place.and_then(|place| said.set.get_mut(place)) {
            *set = amount.filter(|amount| amount.is_finite() && *amount > 0.0);
        }
    }
    Ok(said)
}

/// Says it of one metric; `None` takes back what was said.
///
/// # Errors
/// If it cannot be written.
pub async fn put(connection: &mut AnyConnection, metric: Metric, amount: Option<f64>) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO amounts (metric, amount, version) VALUES ($1, $2, 1)
         ON CONFLICT (metric) DO UPDATE SET amount = excluded.amount, version = amounts.version + 1",
    )
    .bind(metric.key())
    .bind(amount)
    .execute(connection)
    .await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::test_store::on_each;

    #[test]
    fn amounts_are_the_usual_ones_until_others_are_said_and_again_once_they_are_taken_back() {
        on_each(async |test| {
            let mut changes = test.store.write().await.unwrap();
            let none = read(&mut changes).await.unwrap();
            assert_eq!((none.version, none.amounts()), (1, Amounts::default()));
            put(&mut changes, Metric::PathLength, Some(0.25)).await.unwrap();
            put(&mut changes, Metric::PathLength, Some(0.125)).await.unwrap();
            let said = read(&mut changes).await.unwrap();
            assert_eq!((said.version, said.set[Metric::PathLength.index()]), (3, Some(0.125)));
            let mut expected = Amounts::default();
            expected.0[Metric::PathLength.index()] = 0.125;
            assert_eq!(said.amounts(), expected);
            put(&mut changes, Metric::PathLength, None).await.unwrap();
            let back = read(&mut changes).await.unwrap();
            assert_eq!((back.version, back.amounts()), (4, Amounts::default()), "no version comes twice");
            let strange =
                "INSERT INTO amounts (metric, amount, version) VALUES ('power', -1, 1), ('bat_tilt_deg', 0, 1)";
            sqlx::query(strange).execute(&mut *changes).await.unwrap();
            assert_eq!(read(&mut changes).await.unwrap().amounts(), Amounts::default());
        });
    }
}
