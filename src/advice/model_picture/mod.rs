//! The cover model of one block drawn hour by hour: why it was wet, and when it dried.
//!
//! From top to bottom, on one local time axis: rain, water on top and on the underside with the hours at which each is
//! dry, warmth of sheet, air and dew point, wind at the cover, pull on the ties. The last ten days at most are drawn.

mod axis;
mod key;
mod panels;
mod warmth;

use chrono::NaiveDateTime;

use super::chart::ChartError;
use super::chart::png_of_width;
use super::chart::svg::{Anchor, Label, Svg};
use axis::Axis;

/// Days that are drawn.
pub const DAYS: usize = 10;
/// Width of the PNG \[px\]: twice the drawing's own.
const PNG_WIDTH_PX: f32 = 1960.0;

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelPicture {
    /// Name of the block.
    pub name: String,
    /// The hours in order, one after the other.
    pub hours: Vec<PictureHour>,
    /// When the top dried: the first of two dry hours after wet ones, by day.
    pub top_dries: Vec<NaiveDateTime>,
    /// The same of the underside.
    pub under_dries: Vec<NaiveDateTime>,
    /// Water from which a face counts as wet \[mm\].
    pub wet_from_mm: f64,
    /// Gust at the cover at which lifting stops \[m/s\], if there is one.
    pub lift_stops_m_s: Option<f64>,
    /// How local time is made, such as "UTC+1".
    pub clock: String,
}

/// One hour of the model.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PictureHour {
    /// Local end of the hour.
    pub end: NaiveDateTime,
    /// Whether the sun is down.
    pub dark: bool,
    /// Rain \[mm\].
    pub rain_mm: f64,
    /// Water on top \[mm\].
    pub film_mm: f64,
    /// Water on the underside \[mm\].
    pub under_mm: f64,
    /// Sheet \[°C\].
    pub sheet_c: f64,
    /// Air \[°C\].
    pub air_c: f64,
    /// Dew point \[°C\].
    pub dew_c: f64,
    /// Mean wind at the cover \[m/s\].
    pub wind_m_s: f64,
    /// Gust at the cover \[m/s\].
    pub gust_m_s: f64,
    /// Pull on a tie over what it may carry.
    pub pull: f64,
}

/// Draws the picture as SVG.
pub fn svg(picture: &ModelPicture) -> String {
    let axis = Axis::of(picture);
    let mut svg = Svg::default();
    let title = format!("Cover on {}: wet, warm, windy, hour by hour", picture.name);
    svg.text(Label::at(&title, 4.0, 20.0, 16.0).ink().bold());
    let clock = format!("local time, {}", picture.clock);
    svg.text(Label::at(&clock, axis.right, 20.0, axis::SMALL).anchor(Anchor::End));
    panels::background(&mut svg, &axis, picture);
    panels::rain(&mut svg, &axis, picture);
    panels::water(&mut svg, &axis, picture);
    warmth::warmth(&mut svg, &axis, picture);
    panels::wind(&mut svg, &axis, picture);
    panels::ties(&mut svg, &axis, picture);
    let bottom = key::key(&mut svg, &axis, picture);
    svg.finish(axis::WIDTH, bottom + 8.0, &title, &described(picture))
}

/// Draws the picture as PNG, twice its own size.
///
/// # Errors
/// Says why it could not be drawn.
pub fn png(picture: &ModelPicture) -> Result<Vec<u8>, ChartError> {
    png_of_width(&svg(picture), PNG_WIDTH_PX)
}

/// For readers who do not see it: hours wet, and when each face dried.
fn described(picture: &ModelPicture) -> String {
    let wet = |of: fn(&PictureHour) -> f64| {
        picture
            .hours
            .iter()
            .filter(|hour| of(hour) >= picture.wet_from_mm)
            .count()
    };
    let (top, under) = (wet(|hour| hour.film_mm), wet(|hour| hour.under_mm));
    let dried = |times: &[NaiveDateTime]| {
        let said: Vec<String> = times
            .iter()
            .map(|at| at.format("%a %-d %b %H:%M").to_string())
            .collect();
        if said.is_empty() {
            "at no time".to_owned()
        } else {
            said.join(", ")
        }
    };
    format!(
        "Top wet in {top} hours, underside in {under}. Top dried: {}. Underside dried: {}.",
        dried(&picture.top_dries),
        dried(&picture.under_dries)
    )
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;

    fn picture(hours: i64) -> ModelPicture {
        let first: NaiveDateTime = "2026-03-10T00:00:00".parse().unwrap();
        ModelPicture {
            name: "Creek <1>".to_owned(),
            hours: (0..hours)
                .map(|hour| PictureHour {
                    end: first + TimeDelta::hours(hour + 1),
                    dark: hour % 24 < 6,
                    film_mm: if hour % 24 < 9 { 0.1 } else { 0.0 },
                    under_mm: if hour % 24 < 12 { 0.05 } else { 0.0 },
                    air_c: 10.0,
                    sheet_c: 8.0,
                    dew_c: 9.0,
                    gust_m_s: 2.0,
                    pull: if hour == 20 { 1.3 } else { 0.1 },
                    ..PictureHour::default()
                })
                .collect(),
            top_dries: vec![first + TimeDelta::hours(10)],
            under_dries: Vec::new(),
            wet_from_mm: 0.02,
            lift_stops_m_s: Some(5.0),
            clock: "UTC+1".to_owned(),
        }
    }

    #[test]
    fn the_picture_says_when_it_was_dry_and_that_ties_are_an_estimate() {
        let drawn = svg(&picture(24));
        for said in [
            "dry 10:00",
            "Cover on Creek &lt;1&gt;",
            "Estimate for warning, not an engineering check.",
            "Top dried: Tue 10 Mar 10:00. Underside dried: at no time.",
            "Top wet in 9 hours, underside in 12.",
        ] {
            assert!(drawn.contains(said), "{said}: {drawn}");
        }
    }

    #[test]
    fn one_hour_and_a_month_are_drawn_alike_and_as_png() {
        for hours in [0, 1, 30 * 24] {
            let picture = picture(hours);
            assert!(svg(&picture).ends_with("</svg>\n"));
            let file = png(&picture).unwrap();
            assert_eq!(file.get(1..4), Some(&b"PNG"[..]));
        }
        assert!(svg(&picture(30 * 24)).contains("the last ten of 30 days"));
    }
}
