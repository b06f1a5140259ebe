//! The `[[people]]`, `[crew]` and `[[machine]]` of `farm.toml`.

use chrono::{NaiveTime, Weekday};

use super::quantity::Allowed;
use super::table::Table;
use crate::farm::crew::{Crew, Machine, Person, Role};
use crate::units::Metres;

pub(super) const PERSON: &[&str] = &["name", "email", "role", "letter"];
pub(super) const CREW: &[&str] = &["people", "workdays", "start", "end", "break_start", "break_end"];
pub(super) const MACHINE: &[&str] = &["name", "lay_m_per_hour", "lift_m_per_hour"];

const ROLES: &[(&str, Role)] = &[
    ("manager", Role::Manager),
    ("foreman", Role::Foreman),
    ("crew", Role::Crew),
];

pub(super) fn people(root: &Table<'_>) -> Vec<Person> {
    let tables = root.tables("people");
    let people: Vec<Person> = tables.iter().map(person).collect();
    for (place, table) in tables.iter().enumerate() {
        let same = |one: &&Person| {
            people
                .get(place)
                .is_some_and(|own| one.email.is_some() && one.email == own.email)
        };
        if people.iter().take(place).any(|one| same(&one)) {
            table.wrong(
                "email",
                "email stands twice",
                "somebody before has it too",
                "one address, one person",
            );
        }
    }
    if !tables.is_empty() && !people.iter().any(|person| person.letter) {
        root.wrong(
            "people",
            "nobody gets the letter",
            "no person with email and letter = true",
            "give one person an email",
        );
    }
    people
}

fn person(table: &Table<'_>) -> Person {
    table.knows(PERSON);
    table.needs(&[("name", "name = \"Tama\"")]);
    let email = table.text("email", 254).filter(|email| {
        let fault = email.parse::<lettre::Address>().err();
        if fault.is_some() {
            table.wrong(
                "email",
                "email is no address",
                &format!("{email}; wanted name@host"),
                "one address only, without < >",
            );
        }
        fault.is_none()
    });
    let letter = table.flag("letter");
    if letter == Some(true) && table.find("email").is_none() {
        table.wrong(
            "letter",
            "letter = true without an address",
            "where to?",
            "write email = \"name@host\"",
        );
    }
    Person {
        name: table.text("name", 40).unwrap_or_default(),
        letter: letter.unwrap_or(email.is_some()) && email.is_some(),
        email,
        role: table.choice("role", ROLES).unwrap_or(Role::Crew),
    }
}

pub(super) fn crew(table: Option<&Table<'_>>) -> Crew {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
    let mut crew = Crew {
        people: 0,
        workdays: vec![
            Weekday::Mon,
            Weekday::Tue,
            Weekday::Wed,
            Weekday::Thu,
            Weekday::Fri,
            Weekday::Sat,
        ],
        start: clock(7),
        end: clock(17),
        break_start: clock(12),
        break_end: clock(13),
    };
    let Some(table) = table else { return crew };
    table.knows(CREW);
    table.needs(&[("people", "people = 5")]);
    crew.people = table.whole("people", 1, 200).unwrap_or_default();
    crew.workdays = table.weekdays("workdays").unwrap_or(crew.workdays);
    let mut in_order = true;
    for (key, time) in [
        ("start", &mut crew.start),
        ("break_start", &mut crew.break_start),
        ("break_end", &mut crew.break_end),
        ("end", &mut crew.end),
    ] {
        if let Some(read) = table.time(key) {
            *time = read;
        } else if table.find(key).is_some() {
            in_order = false;
        }
    }
    let order = [
        ("start", crew.start),
        ("break_start", crew.break_start),
        ("break_end", crew.break_end),
        ("end", crew.end),
    ];
    for ((before, early), (after, late)) in order.iter().zip(order.iter().skip(1)) {
        let equal_is_fine = *before == "break_start";
        if in_order && (late < early || (late == early && !equal_is_fine)) {
            let at = format!(
                "{after} {} is not after {before} {}",
                late.format("%H:%M"),
                early.format("%H:%M")
            );
            let key = if table.find(after).is_some() { after } else { before };
            table.wrong(
                key,
                "the day is not in order",
                &at,
                "start, break_start, break_end, end, one after the other",
            );
        }
    }
    crew
}

pub(super) fn machine(table: &Table<'_>) -> Option<Machine> {
    table.knows(MACHINE);
    table.needs(&[("name", "name = \"winder\"")]);
    let speed = Allowed::new(50.0, 3000.0, "m/h");
    let rate = |key| table.number(key, &speed).map(Metres);
    let machine = Machine {
        name: table.text("name", 40)?,
        lay_per_hour: rate("lay_m_per_hour"),
        lift_per_hour: rate("lift_m_per_hour"),
    };
    if table.find("lay_m_per_hour").is_none() && table.find("lift_m_per_hour").is_none() {
        table.wrong(
            "name",
            "neither lays nor lifts",
            "no rate given",
            "write lay_m_per_hour = 700 or lift_m_per_hour = 800",
        );
    }
    Some(machine)
}
