//! What half-days of each week of the year have been like: the climate table of a farm.

/// Weeks of a table: 1 January begins the first, and the last has a day or two more than seven.
pub const WEEKS: usize = 52;

/// A climate table.
#[derive(Debug, Clone, PartialEq)]
pub struct Climate {
    /// For each week the morning and the afternoon; `None` where nothing was observed.
    pub weeks: Vec<[Option<HalfClimate>; 2]>,
}

/// One half of the days of one week.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfClimate {
    /// Half-days behind the shares.
    pub slots: u32,
    /// Years they come from.
    pub years: u32,
    /// Share with hours for laying, 0 to 1.
    pub lay: f64,
    /// Share with hours for lifting dry, 0 to 1.
    pub lift: f64,
    /// Share in which the ties of a common cover are beaten, 0 to 1.
    pub beaten: f64,
    /// Mean light at the cover \[MJ/m²\].
    pub light: f64,
}

impl Climate {
    /// Week of the year that a day belongs to, from 0.
    pub fn week(day: chrono::NaiveDate) -> usize {
        use chrono::Datelike as _;
        usize::try_from(day.ordinal0() / 7).unwrap_or(0).min(WEEKS - 1)
    }

    /// Halves of weeks of which something is known.
    pub fn known(&self) -> usize {
        self.weeks.iter().flatten().flatten().count()
    }

    /// Years behind the shares, as most halves of weeks have it.
    pub fn years(&self) -> u32 {
        let mut years: Vec<u32> = self.weeks.iter().flatten().flatten().map(|half| half.years).collect();
        years.sort_unstable();
        years.get(years.len() / 2).copied().unwrap_or(0)
    }
}
