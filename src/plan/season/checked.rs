//! A case that was read whole and found sound; every mistake is told at once.

use std::collections::BTreeSet;
use std::fmt;
use std::ops::Deref;

use super::case::{Case, Pool, SCHEMA, Site};

/// Most slots: ten years of half-days.
const MOST_SLOTS: usize = 7300;
/// Most lots: sums of their cents stay exact.
const MOST_LOTS: usize = 20_000;
/// Most cents of one lot or option.
pub(super) const MOST_CENTS: i64 = 10_000_000_000;
/// Most seconds, metres and milli-days of one number.
pub(super) const MOST: i64 = 1_000_000_000;
/// Mistakes told at once; more are counted.
const TOLD: usize = 20;

/// A case without mistakes: lists are as long as the horizon, places point at something, sums cannot overflow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked(Case);

impl Deref for Checked {
    type Target = Case;

    fn deref(&self) -> &Case {
        &self.0
    }
}

impl Checked {
    /// The case as written, to change it and check it anew.
    pub fn into_case(self) -> Case {
        self.0
    }
}

/// One mistake in a case.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where: the thing and its key.
    pub place: String,
    /// What is wrong with it, and what would be right.
    pub text: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.text)
    }
}

impl Case {
    /// Looks at everything.
    ///
    /// # Errors
    /// Every mistake with its place and cure; of very many the first twenty, and how many more there are.
    pub fn checked(self) -> Result<Checked, Vec<Fault>> {
        let mut look = Look::default();
        if self.schema == SCHEMA {
            look.whole(&self);
        } else {
            look.fault(
                "schema",
                format!(
                    "is \"{}\", but this program reads \"{SCHEMA}\". Write the case anew in that form.",
                    self.schema
                ),
            );
        }
        if look.faults.is_empty() {
            return Ok(Checked(self));
        }
        let more = look.faults.len().saturating_sub(TOLD);
        look.faults.truncate(TOLD);
        if more > 0 {
            look.fault(
                "and so on",
                format!("{more} more mistakes are not listed. Mend these first."),
            );
        }
        Err(look.faults)
    }
}

/// A walk through a case that collects what is wrong.
#[derive(Default)]
pub(super) struct Look {
    faults: Vec<Fault>,
}

impl Look {
    pub(super) fn fault(&mut self, place: impl Into<String>, text: String) {
        self.faults.push(Fault {
            place: place.into(),
            text,
        });
    }

    pub(super) fn range(&mut self, place: &str, key: &str, value: i64, least: i64, most: i64) {
        if !(least..=most).contains(&value) {
            self.fault(
                format!("{place}, `{key}`"),
                format!("is {value}, but it lies between {least} and {most}. Mend the number."),
            );
        }
    }

    /// A list with one value a slot.
    fn list(&mut self, place: &str, key: &str, values: &[i64], slots: usize, most: i64) {
        if values.len() != slots {
            self.fault(
                format!("{place}, `{key}`"),
                format!(
                    "has {} values, but the case has {slots} slots. Give one value a slot.",
                    values.len()
                ),
            );
        }
        if let Some((slot, value)) = values
            .iter()
            .enumerate()
            .find(|(_, value)| !(0..=most).contains(*value))
        {
            self.fault(
                format!("{place}, `{key}`, slot {slot}"),
                format!("is {value}, but it lies between 0 and {most}. Mend the number."),
            );
        }
    }

    fn unique<'a>(&mut self, what: &str, ids: impl Iterator<Item = &'a str>) {
        let mut seen = BTreeSet::new();
        for id in ids {
            if !seen.insert(id) {
                self.fault(
                    format!("{what} {id}"),
                    "stands twice. Give each one its own `id`.".to_owned(),
                );
            }
        }
    }

    fn whole(&mut self, case: &Case) {
        if !(1..=MOST_SLOTS).contains(&case.slots) {
            self.fault(
                "slots",
                format!(
                    "is {}, but a horizon has 1 to {MOST_SLOTS} slots. Mend the number.",
                    case.slots
                ),
            );
            return;
        }
        if case.lots.len() > MOST_LOTS {
            self.fault(
                "groups",
                format!(
                    "has {} lots, but at most {MOST_LOTS} are planned at once. Split the case.",
                    case.lots.len()
                ),
            );
            return;
        }
        self.range("the case", "slot_seconds", case.slot_seconds, 1, 86_400);
        for (key, value, least, most) in [
            ("slots_per_day", case.slots_per_day, 1, 24),
            ("forecast_slots", case.forecast_slots, 0, case.slots),
            ("lag_roll", case.lag_roll, 0, MOST_SLOTS),
            ("lag_fold", case.lag_fold, 0, MOST_SLOTS),
        ] {
            if !(least..=most).contains(&value) {
                self.fault(
                    key,
                    format!("is {value}, but it lies between {least} and {most}. Mend the number."),
                );
            }
        }
        self.curve(&case.curve);
        self.unique("site", case.sites.iter().map(|site| site.id.as_str()));
        self.unique("pool", case.pools.iter().map(|pool| pool.id.as_str()));
        self.unique("lot", case.lots.iter().map(|lot| lot.id.as_str()));
        for site in &case.sites {
            self.site(case, site);
        }
        for pool in &case.pools {
            self.pool(case, pool);
        }
        for lot in &case.lots {
            self.lot(case, lot);
        }
        for (place, pool) in case.pools.iter().enumerate() {
            self.lies_out(case, place, pool);
        }
    }

    fn curve(&mut self, curve: &[(i64, i64)]) {
        if curve.is_empty() {
            self.fault(
                "curve",
                "is empty. Give pairs of light [milli-days] and share of colour [per mille].".to_owned(),
            );
        }
        for (light, share) in curve {
            self.range("curve", "light", *light, 0, MOST);
            self.range("curve", "share", *share, 0, 1000);
        }
        for pair in curve.windows(2) {
            if let [low, high] = pair
                && (high.0 <= low.0 || high.1 < low.1)
            {
                self.fault(
                    "curve",
                    format!(
                        "does not rise from {low:?} to {high:?}. More light never means less colour; mend the pairs."
                    ),
                );
            }
        }
    }

    fn site(&mut self, case: &Case, site: &Site) {
        let place = format!("site {}", site.id);
        self.list(&place, "p_lay", &site.p_lay, case.slots, 1000);
        self.list(&place, "p_lift", &site.p_lift, case.slots, 1000);
        self.list(&place, "light_md", &site.light_md, case.slots, 1_000_000);
        self.list(
            &place,
            "hold_cents_per_km",
            &site.hold_cents_per_km,
            case.slots,
            100_000_000,
        );
        for (key, members) in [("members_lay", &site.members_lay), ("members_lift", &site.members_lift)] {
            for (number, member) in members.iter().enumerate() {
                if member.len() != case.forecast_slots || member.bytes().any(|sign| !matches!(sign, b'0' | b'1')) {
                    self.fault(
                        format!("{place}, `{key}`, member {number}"),
                        format!(
                            "must be {} signs, each 0 or 1: one a slot of the forecast. Mend or leave out all.",
                            case.forecast_slots
                        ),
                    );
                }
            }
        }
    }

    fn pool(&mut self, case: &Case, pool: &Pool) {
        let place = format!("pool {}", pool.id);
        self.list(&place, "people_cap_s", &pool.people_cap_s, case.slots, MOST);
        self.list(&place, "machine_cap_s", &pool.machine_cap_s, case.slots, MOST);
        for (family, metres) in &pool.stock_m {
            self.range(&place, &format!("stock_m` of `{family}"), *metres, 0, MOST);
        }
    }

    /// What lies out is part of the stock.
    fn lies_out(&mut self, case: &Case, place: usize, pool: &Pool) {
        for (family, stock) in &pool.stock_m {
            let out: i64 = case
                .lots
                .iter()
                .filter(|lot| lot.pool == place && lot.family == *family && lot.already_out.is_some())
                .map(|lot| lot.metres.min(MOST))
                .sum();
            if out > *stock {
                self.fault(
                    format!("pool {}, `stock_m` of `{family}`", pool.id),
                    format!(
                        "is {stock} m, but {out} m of it lie out already. The stock counts these too; mend one of them."
                    ),
                );
            }
        }
    }
}
