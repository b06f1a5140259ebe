//! Invented seasons: lots, crews and weather drawn from a seed, costed with the usual rates.

use covercast::plan::season::Schedule;
use covercast::plan::season::case::{Case, Kind, LaySlot, LiftSlot, Lot, Out, Pool, SCHEMA, Site, Work, Yesterday};
use covercast::plan::season::colour::Sums;
use covercast::plan::season::costs::{LayJob, LiftStakes, Rates, RollJob, risk_table};
use covercast::plan::season::score::booked;

/// What a season is made of.
#[derive(Debug, Clone)]
pub(crate) struct Season {
    slots: usize,
    sites: Vec<Site>,
    pools: Vec<Pool>,
    lots: Vec<Sketch>,
}

/// A lot before its slots are costed.
#[derive(Debug, Clone)]
pub(crate) struct Sketch {
    pub(crate) id: String,
    pool: usize,
    family: String,
    metres: i64,
    hilly: bool,
    value_cents: i64,
    pub(crate) pick: usize,
    already_out: Option<Out>,
    previous: Option<Yesterday>,
    /// Every how many slots one is offered; 1 offers all.
    every: usize,
}

const FAMILIES: [&str; 2] = ["narrow", "wide"];

impl Season {
    /// `pools` crews with `lots` lots each over 84 days.
    pub(crate) fn drawn(seed: u64, pools: usize, lots: usize) -> Self {
        let mut chance = fastrand::Rng::with_seed(seed);
        let slots = 168;
        let sites = (0..pools).map(|site| site_of(&mut chance, site, slots)).collect();
        let mut season = Self {
            slots,
            sites,
            pools: Vec::new(),
            lots: Vec::new(),
        };
        for pool in 0..pools {
            let mut total = [0_i64; 2];
            for lot in 0..lots {
                let sketch = sketch(&mut chance, pool, lot);
                total[usize::from(sketch.family == FAMILIES[1])] += sketch.metres;
                season.lots.push(sketch);
            }
            let out = |family: &str| -> i64 {
                let lies = season
                    .lots
                    .iter()
                    .filter(|lot| lot.pool == pool && lot.family == family);
                lies.filter(|lot| lot.already_out.is_some()).map(|lot| lot.metres).sum()
            };
            let stock = FAMILIES.into_iter().zip(total).map(|(family, metres)| {
                let scarce = metres * chance.i64(40..=75) / 100;
                (family.to_owned(), scarce.max(1500).max(out(family)))
            });
            season.pools.push(Pool {
                id: format!("crew {pool}"),
                name: String::new(),
                site: format!("site {pool}"),
                people: 4,
                machines: 1,
                people_cap_s: hours(slots, 4),
                machine_cap_s: hours(slots, 1),
                stock_m: stock.collect(),
            });
        }
        season
    }

    /// One crew, three lots, few slots: small enough to try every plan.
    pub(crate) fn tiny(seed: u64) -> Self {
        let mut season = Self::drawn(seed, 1, 3);
        let most = season.lots.iter().map(|lot| lot.metres).max().unwrap_or(0);
        let out: i64 = season
            .lots
            .iter()
            .filter(|lot| lot.already_out.is_some())
            .map(|lot| lot.metres)
            .sum();
        for lot in &mut season.lots {
            lot.family = FAMILIES[0].to_owned();
            lot.every = 19;
        }
        // Enough for one lot, or for what lies out.
        season.pools[0].stock_m = [(FAMILIES[0].to_owned(), (most + most / 3).max(out))].into();
        season
    }

    pub(crate) fn pools_mut(&mut self) -> &mut Vec<Pool> {
        &mut self.pools
    }

    pub(crate) fn lots_mut(&mut self) -> &mut Vec<Sketch> {
        &mut self.lots
    }

    /// Takes a plan as yesterday's: moving away from its slots costs.
    pub(crate) fn follow(&mut self, plan: &Schedule) {
        for lot in &mut self.lots {
            lot.previous = plan.entry(&lot.id).map(|entry| Yesterday {
                lay: entry.lay,
                lift: Some(entry.lift),
            });
        }
    }

    /// The season as a case.
    pub(crate) fn case(&self) -> Case {
        Case {
            schema: SCHEMA.to_owned(),
            name: "invented".to_owned(),
            scale: String::new(),
            seed: 0,
            slots: self.slots,
            slot_seconds: 18000,
            slots_per_day: 2,
            forecast_slots: 30,
            lag_roll: 2,
            lag_fold: 28,
            curve: curve(),
            blocks: self.lots.len(),
            rows: 0,
            sites: self.sites.clone(),
            pools: self.pools.clone(),
            lots: self.lots.iter().map(|sketch| self.lot(sketch)).collect(),
        }
    }

    fn lot(&self, sketch: &Sketch) -> Lot {
        let rates = Rates::default();
        let (site, pool) = (&self.sites[sketch.pool], &self.pools[sketch.pool]);
        let sums = Sums::of(site);
        let ties = sketch.metres / 5 * 2;
        let work = rates.work(sketch.metres, ties, sketch.hilly);
        let call_out = rates.call_out_cents(pool.people);
        let fold_cents = rates.fold_cents(sketch.metres, work.fold);
        let fits = |work: covercast::plan::season::case::Seconds, chance: i64, slot: usize| {
            booked(work.people_s, chance).is_some_and(|people| people <= pool.people_cap_s[slot])
                && booked(work.machine_s, chance).is_some_and(|machine| machine <= pool.machine_cap_s[slot])
        };
        let offered = |slot: &usize| slot.is_multiple_of(sketch.every);
        let lays = |work: covercast::plan::season::case::Seconds| -> Vec<LaySlot> {
            let window = sketch.pick.saturating_sub(98)..sketch.pick.saturating_sub(42);
            let good = window
                .filter(offered)
                .filter(|slot| site.p_lay[*slot] >= 200 && fits(work, site.p_lay[*slot], *slot));
            good.map(|slot| {
                let job = LayJob {
                    slot,
                    chance: site.p_lay[slot],
                    work,
                    metres: sketch.metres,
                    call_out_cents: call_out,
                    yesterday: sketch.previous.and_then(|was| was.lay),
                };
                LaySlot(slot, rates.lay_cents(&job, &sums))
            })
            .collect()
        };
        let from = sketch.pick.saturating_sub(20);
        let chances: Vec<Option<f64>> = (from..sketch.pick)
            .map(|slot| fits(work.lift_machine, site.p_lift[slot], slot).then(|| site.p_lift[slot] as f64 / 1000.0))
            .collect();
        let stakes = LiftStakes {
            call_out: (call_out * rates.call_out_share) as f64 / 1000.0,
            fold: fold_cents as f64,
            damp: (rates.damp_cents_km * sketch.metres) as f64 / 1000.0,
        };
        let risk = risk_table(&chances, stakes);
        let mut lift: Vec<LiftSlot> = (from..sketch.pick)
            .filter(|slot| chances[slot - from].is_some() && site.p_lift[*slot] >= 200)
            .filter(|slot| sketch.every == 1 || slot % 4 == 1)
            .map(|slot| {
                let job = RollJob {
                    slot,
                    risk_cents: risk[slot - from],
                    work: work.lift_machine,
                    metres: sketch.metres,
                    yesterday: sketch.previous.and_then(|was| was.lift),
                };
                LiftSlot(slot, Kind::Roll, rates.roll_cents(&job, &sums))
            })
            .collect();
        for slot in [sketch.pick - 1, sketch.pick] {
            if fits(work.fold, 1000, slot) {
                lift.push(LiftSlot(
                    slot,
                    Kind::Fold,
                    fold_cents + sums.hold_before(slot, sketch.metres),
                ));
            }
        }
        let out = sketch.already_out.is_some();
        Lot {
            id: sketch.id.clone(),
            block: format!("block of {}", sketch.id),
            variety: String::new(),
            pool: sketch.pool,
            site: sketch.pool,
            family: sketch.family.clone(),
            metres: sketch.metres,
            pieces: sketch.metres / 80 + 1,
            ties,
            hilly: sketch.hilly,
            value_cents: sketch.value_cents,
            pick_slot: sketch.pick,
            min_exposure_slots: 42,
            check_s: Rates::check_s(ties),
            lay_machine: if out { Vec::new() } else { lays(work.lay_machine) },
            lay_hand: if out || sketch.hilly {
                Vec::new()
            } else {
                lays(work.lay_hand)
            },
            lift,
            already_out: sketch.already_out,
            drop_cents: if !out && sketch.previous.is_some() {
                rates.drop_cents
            } else {
                0
            },
            stranded_cents: if out { Rates::stranded_cents(fold_cents) } else { 0 },
            previous: sketch.previous,
            work: Work { ..work },
        }
    }
}

fn curve() -> Vec<(i64, i64)> {
    vec![
        (0, 0),
        (7000, 150),
        (14000, 400),
        (21000, 640),
        (28000, 820),
        (35000, 930),
        (42000, 980),
        (56000, 1000),
    ]
}

/// Five hours a half-day for each, every seventh day at rest.
fn hours(slots: usize, each: i64) -> Vec<i64> {
    (0..slots)
        .map(|slot| if slot / 2 % 7 == 6 { 0 } else { each * 18000 })
        .collect()
}

fn site_of(chance: &mut fastrand::Rng, site: usize, slots: usize) -> Site {
    let mut draw = |am: i64, pm: i64, spread: i64| -> Vec<i64> {
        let near = |slot: usize, chance: &mut fastrand::Rng| {
            if slot < 30 {
                chance.i64(-2 * spread..=2 * spread)
            } else {
                0
            }
        };
        (0..slots)
            .map(|slot| ((if slot % 2 == 0 { am } else { pm }) + near(slot, chance) - slot as i64 / 4).clamp(0, 1000))
            .collect()
    };
    let (p_lay, p_lift) = (draw(760, 660, 100), draw(340, 580, 120));
    let light = (0..slots)
        .map(|slot| 560 - slot as i64 + chance.i64(-20..=20))
        .collect();
    let hold = (0..slots).map(|_| chance.i64(5..=60)).collect();
    let mut members = |chances: &[i64]| -> Vec<String> {
        let member = |_| {
            chances[..30]
                .iter()
                .map(|p| if chance.i64(0..1000) < *p { '1' } else { '0' })
                .collect()
        };
        (0..20).map(member).collect()
    };
    Site {
        id: format!("site {site}"),
        members_lay: members(&p_lay),
        members_lift: members(&p_lift),
        p_lay,
        p_lift,
        light_md: light,
        hold_cents_per_km: hold,
    }
}

fn sketch(chance: &mut fastrand::Rng, pool: usize, lot: usize) -> Sketch {
    let metres = chance.i64(600..1450);
    let out = chance.u32(0..8) == 0;
    let before = chance.usize(12..50);
    Sketch {
        id: format!("p{pool} lot {lot}"),
        pool,
        family: FAMILIES[chance.usize(0..2)].to_owned(),
        metres,
        hilly: chance.u32(0..5) == 0,
        value_cents: metres * chance.i64(20..95),
        pick: if out {
            chance.usize(40..60)
        } else {
            chance.usize(50..150)
        },
        already_out: out.then_some(Out {
            slots_before: before,
            light_before_md: before as i64 * 520,
        }),
        previous: None,
        every: 1,
    }
}
