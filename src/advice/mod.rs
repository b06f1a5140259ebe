//! Letters as data, then as text, HTML, chart, calendar, JSON.
//!
//! [`letter::compose`] turns a morning's facts into a [`letter::Letter`]: sentences for the reader, plain values for
//! programs and for the chart. The other modules only lay it out; none of them words anything again.

pub mod words;

pub mod reasons;

pub mod spread;

pub mod letter;

pub mod season_words;

pub mod chart;

pub mod model_picture;

pub mod labels;

pub mod season_strip;
pub mod week_strip;

pub mod text;

pub mod html;

pub mod calendar;

pub mod json;
