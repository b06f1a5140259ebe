//! What a user would notice, one file per promise.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "tests"
)]

mod layers;
mod planning;
mod replies;
mod trace;
mod sending;
mod workplace;
mod restart;
mod schedule;
mod stopping;
