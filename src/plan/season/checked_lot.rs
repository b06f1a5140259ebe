//! What can be wrong with one lot of a case.

use std::collections::BTreeSet;

use super::case::{Case, Kind, LaySlot, Lot, Seconds};
use super::checked::{Look, MOST, MOST_CENTS};

impl Look {
    pub(super) fn lot(&mut self, case: &Case, lot: &Lot) {
        let place = format!("lot {}", lot.id);
        match case.pools.get(lot.pool) {
            None => self.fault(
                format!("{place}, `pool`"),
                format!(
                    "is {}, but the case has {} pools, counted from 0. Name one of them.",
                    lot.pool,
                    case.pools.len()
                ),
            ),
            Some(pool) if !pool.stock_m.contains_key(&lot.family) => self.fault(
                format!("{place}, `family`"),
                format!(
                    "is \"{}\", of which pool {} has no stock. Add it to `stock_m`, with 0 m if there is none.",
                    lot.family, pool.id
                ),
            ),
            Some(_) => {}
        }
        if lot.site >= case.sites.len() {
            self.fault(
                format!("{place}, `site`"),
                format!(
                    "is {}, but the case has {} sites, counted from 0. Name one of them.",
                    lot.site,
                    case.sites.len()
                ),
            );
        }
        self.range(&place, "metres", lot.metres, 1, MOST);
        self.range(&place, "value_cents", lot.value_cents, 0, MOST_CENTS);
        self.range(&place, "check_s", lot.check_s, 0, MOST);
        self.range(&place, "drop_cents", lot.drop_cents, 0, MOST_CENTS);
        self.range(&place, "stranded_cents", lot.stranded_cents, 0, MOST_CENTS);
        if lot.min_exposure_slots == 0 {
            self.fault(
                format!("{place}, `min_exposure_slots`"),
                "is 0, but a cover is lifted at least one slot after it was laid. Give 1 or more.".to_owned(),
            );
        }
        let Lot { work, .. } = lot;
        for (key, Seconds { people_s, machine_s }) in [
            ("lay_machine", work.lay_machine),
            ("lay_hand", work.lay_hand),
            ("lift_machine", work.lift_machine),
            ("fold", work.fold),
        ] {
            self.range(&place, &format!("work`, `{key}`, `people_s"), people_s, 0, MOST);
            self.range(&place, &format!("work`, `{key}`, `machine_s"), machine_s, 0, MOST);
        }
        if let Some(out) = lot.already_out {
            self.range(&place, "light_before_md", out.light_before_md, 0, MOST);
        }
        let lays = |slots: &[LaySlot]| slots.iter().map(|lay| (lay.0, Kind::Roll, lay.1)).collect::<Vec<_>>();
        self.options(case, &place, "lay_machine", &lays(&lot.lay_machine));
        self.options(case, &place, "lay_hand", &lays(&lot.lay_hand));
        let lifts: Vec<_> = lot.lift.iter().map(|lift| (lift.0, lift.1, lift.2)).collect();
        self.options(case, &place, "lift", &lifts);
    }

    fn options(&mut self, case: &Case, place: &str, key: &str, options: &[(usize, Kind, i64)]) {
        let mut seen = BTreeSet::new();
        for (slot, kind, cost) in options {
            if *slot >= case.slots {
                self.fault(
                    format!("{place}, `{key}`"),
                    format!(
                        "names slot {slot}, but the slots are 0 to {}. Leave it out or lengthen the horizon.",
                        case.slots - 1
                    ),
                );
            }
            if !seen.insert((*slot, *kind)) {
                self.fault(
                    format!("{place}, `{key}`"),
                    format!("names slot {slot} twice. Keep one of them."),
                );
            }
            self.range(
                place,
                &format!("{key}`, cost in slot `{slot}"),
                *cost,
                -MOST_CENTS,
                MOST_CENTS,
            );
        }
    }
}
