//! What a user would notice, one file per promise.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "tests"
)]

mod bounds;
mod broker;
mod cautions;
mod charts;
mod coverage;
mod etiquette;
mod farm_season;
mod fetching;
mod half_days;
mod holes;
mod invented_season;
mod laws;
mod layers;
mod letter_rules;
mod letters;
mod mosmix;
mod planning;
mod published;
mod replies;
mod restart;
mod samples;
mod schedule;
mod season_ahead;
mod season_laws;
mod season_letter;
mod season_plan;
mod season_rules;
mod sending;
mod services;
mod settings;
mod small_orchard;
mod stations;
mod stopping;
mod takeoff;
mod ties;
mod trace;
mod warnings;
mod wet_rolls;
mod windows;
mod workplace;
