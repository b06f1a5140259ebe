//! Where a farm is and how its people read numbers.

use super::zone::Zone;
use crate::units::{Degrees, DisplayUnits, Metres};

/// The farm's place.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Name as it stands in letters.
    pub name: String,
    /// Latitude, north positive.
    pub latitude: Degrees,
    /// Longitude, east positive.
    pub longitude: Degrees,
    /// Above sea level.
    pub elevation: Metres,
    /// Named zone of all local times.
    pub zone: Zone,
    /// Units of letters and charts.
    pub units: DisplayUnits,
}
