//! What a user would notice, one file per promise.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "tests"
)]

mod cautions;
mod charts;
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
mod schedule;
mod season_laws;
mod sending;
mod services;
mod settings;
mod small_orchard;
mod stopping;
mod ties;
mod trace;
mod warnings;
mod windows;
mod workplace;
