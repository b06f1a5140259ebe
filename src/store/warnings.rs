//! Official warnings of each farm, and the names of those that are over: a start must not bring them back.

use chrono::{DateTime, Utc};
use rusqlite::OptionalExtension;

use super::fault::Fault;
use super::{Store, seconds};
use crate::farm::FarmId;
use crate::weather::warning::Register;

impl Store {
    /// Keeps the warnings of a farm in place of those kept before.
    pub fn keep_warnings(&self, farm: &FarmId, register: &Register, at: DateTime<Utc>) -> Result<(), Fault> {
        let text = serde_json::to_string(register).map_err(unreadable)?;
        self.connection.execute(
            "insert into warning (farm, register, at) values (?1, ?2, ?3)
             on conflict (farm) do update set register = ?2, at = ?3",
            (&farm.0, text, seconds(at)),
        )?;
        Ok(())
    }

    /// The warnings kept for a farm; none if there never were any.
    pub fn warnings(&self, farm: &FarmId) -> Result<Register, Fault> {
        let kept: Option<String> = self
            .connection
            .query_row("select register from warning where farm = ?1", [&farm.0], |row| {
                row.get(0)
            })
            .optional()?;
        kept.map_or_else(
            || Ok(Register::default()),
            |text| serde_json::from_str(&text).map_err(unreadable),
        )
    }
}

#[expect(clippy::needless_pass_by_value, reason = "the form map_err wants")]
fn unreadable(error: serde_json::Error) -> Fault {
    Fault::Unreadable {
        what: "warnings",
        detail: error.to_string(),
    }
}
