//! Readings of a national service's station: its observations, with the METAR behind each where it tells
//! nothing else.

use chrono::{DateTime, Utc};

use super::station::metar;
use super::{Context, Refusal, nws};
use crate::weather::Told;
use crate::weather::reading::{Measured, Reading};

/// Reads the observations of a station.
///
/// # Errors
/// If the reply holds no report with a time and a value.
pub fn readings(bytes: &[u8], context: &Context<'_>) -> Result<Vec<Reading>, Refusal> {
    let found = nws::observations(bytes, context, &by_metar)?;
    Ok(found.iter().flat_map(|one| one.readings(context.fetched)).collect())
}

/// What a METAR says. Its text names the day and not the month, which the time of the report tells.
fn by_metar(message: &str, at: DateTime<Utc>) -> Vec<(Measured, Told)> {
    let mut groups = message
        .split_whitespace()
        .skip_while(|group| matches!(*group, "METAR" | "SPECI"));
    let code = groups.next().unwrap_or_default();
    let batch = metar::read(message.as_bytes(), code, at);
    batch
        .readings
        .into_iter()
        .map(|reading| (reading.measured, reading.told))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_without_values_is_read_from_its_metar() {
        let at: DateTime<Utc> = "2026-03-09T16:13:00Z".parse().unwrap();
        let told = by_metar("KXYZ 091613Z 21012G22KT 10SM OVC030 09/04 A3001 RMK AO2 T00890044", at);
        let value = |which: Measured| {
            let found = told.iter().find(|(measured, _)| *measured == which);
            found
                .and_then(|(_, told)| told.value)
                .map(|value| (value * 10.0).round() / 10.0)
        };
        assert_eq!(value(Measured::Temperature), Some(8.9));
        assert_eq!(value(Measured::DewPoint), Some(4.4));
        // 12 and 22 kn.
        assert_eq!(value(Measured::Wind), Some(6.2));
        assert_eq!(value(Measured::Gust), Some(11.3));
        assert!(by_metar("", at).is_empty());
    }
}
