//! The tables, one step a version. A step is never edited once it has been shipped.

use rusqlite_migration::{M, Migrations};

/// Steps from an empty database to this version.
pub(super) const STEPS: [&str; 2] = [
    "
create table record (
    id integer primary key,
    farm text not null,
    block text not null,
    first_row integer not null,
    last_row integer not null,
    event text not null,
    at integer not null,
    noted integer not null
) strict;
create index record_farm on record (farm, at);

create table letter (
    farm text not null,
    number integer not null,
    kind text not null,
    local_date text not null,
    subject text not null,
    text text not null,
    facts text not null,
    inputs text not null,
    issued integer not null,
    valid_until integer not null,
    primary key (farm, number)
) strict, without rowid;

create table job_run (
    farm text not null,
    job text not null,
    local_date text not null,
    at integer not null,
    outcome text not null,
    primary key (farm, job, local_date)
) strict, without rowid;

create table outbox (
    id integer primary key,
    dedupe_key text not null unique,
    farm text not null,
    kind text not null,
    number integer,
    recipient text not null,
    message blob not null,
    queued integer not null,
    valid_until integer not null,
    state text not null check (state in ('waiting', 'sent', 'refused', 'dropped')),
    attempts integer not null default 0,
    next_try integer not null,
    handing_since integer,
    fate_unknown integer not null default 0,
    ended integer,
    last_error text
) strict;
create index outbox_waiting on outbox (next_try) where state = 'waiting';
create index outbox_farm on outbox (farm, ended);

create table feed (
    farm text not null,
    service text not null,
    issued integer,
    fetched integer,
    fault text,
    fault_since integer,
    primary key (farm, service)
) strict, without rowid;

create table trouble (
    thing text primary key,
    text text not null,
    since integer not null
) strict, without rowid;
",
    "
create table reading (
    station text not null,
    measured text not null,
    begins integer not null,
    ends integer not null,
    value real,
    received integer not null,
    primary key (station, measured, ends, begins)
) strict, without rowid;

create table forecast (
    id integer primary key,
    farm text not null,
    service text not null,
    issued integer not null,
    fetched integer not null,
    members integer not null,
    letter integer not null default 0,
    body blob not null,
    unique (farm, service, issued)
) strict;

create table warning (
    farm text primary key,
    register text not null,
    at integer not null
) strict, without rowid;
",
];

/// The steps for `rusqlite_migration`.
pub(super) fn migrations() -> Migrations<'static> {
    Migrations::new(STEPS.iter().map(|step| M::up(step)).collect())
}

/// The version this program writes.
pub(super) fn version() -> i64 {
    i64::try_from(STEPS.len()).unwrap_or(i64::MAX)
}
