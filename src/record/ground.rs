//! What lies where, since when, folded from the entries.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::entry::{Entry, Event};
use crate::farm::block::{BlockId, Rows};

/// State of one run of rows of a block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lying {
    /// The rows.
    pub rows: Rows,
    /// When they were laid.
    pub laid: DateTime<Utc>,
    /// When the ties were last walked, the laying included.
    pub checked: DateTime<Utc>,
    /// Whether they are folded aside.
    pub folded: bool,
}

/// A roll that went up damp and has not been dried.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DampRoll {
    /// The block it came from.
    pub block: BlockId,
    /// The rows it came from.
    pub rows: Rows,
    /// When it was lifted.
    pub lifted: DateTime<Utc>,
}

/// What lies where on one farm at one time.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Ground {
    /// Covers out, by block, in row order.
    pub out: BTreeMap<BlockId, Vec<Lying>>,
    /// Rolls that must be dried.
    pub damp: Vec<DampRoll>,
    /// The latest report of any kind.
    pub last_report: Option<DateTime<Utc>>,
    /// Dry times seen by the grower: block, time, face.
    pub seen_dry: Vec<Entry>,
}

/// What becomes of one row under the entries that touch it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct RowState {
    laid: DateTime<Utc>,
    checked: DateTime<Utc>,
    folded: bool,
}

impl Ground {
    /// Folds the entries into the state at `now`. Entries may come in any order; of two about the same
    /// rows and instant the one noted later holds.
    pub fn at(entries: &[Entry], now: DateTime<Utc>) -> Self {
        let mut entries: Vec<&Entry> = entries.iter().filter(|entry| entry.at <= now).collect();
        entries.sort_by_key(|entry| (entry.at, entry.noted));
        let mut rows: BTreeMap<(BlockId, u32), RowState> = BTreeMap::new();
        let mut damp: BTreeMap<(BlockId, u32), DateTime<Utc>> = BTreeMap::new();
        let mut ground = Self::default();
        for entry in entries {
            ground.last_report = ground.last_report.max(Some(entry.at));
            if matches!(entry.event, Event::Dry { .. }) {
                ground.seen_dry.push(entry.clone());
            }
            for row in entry.rows.numbers() {
                let key = (entry.block.clone(), row);
                match entry.event {
                    Event::Laid => {
                        rows.insert(
                            key,
                            RowState {
                                laid: entry.at,
                                checked: entry.at,
                                folded: false,
                            },
                        );
                    }
                    Event::Checked => {
                        if let Some(state) = rows.get_mut(&key) {
                            state.checked = entry.at;
                        }
                    }
                    Event::Folded => {
                        if let Some(state) = rows.get_mut(&key) {
                            state.folded = true;
                        }
                    }
                    Event::Lifted { wet } => {
                        rows.remove(&key);
                        if wet {
                            damp.insert(key, entry.at);
                        } else {
                            damp.remove(&key);
                        }
                    }
                    Event::Redried => {
                        damp.remove(&key);
                    }
                    Event::Dry { .. } => {}
                }
            }
        }
        for ((block, row), state) in rows {
            let lying = ground.out.entry(block).or_default();
            match lying.last_mut() {
                Some(last) if last.rows.last + 1 == row && RowState::of(last) == state => last.rows.last = row,
                _ => lying.push(Lying {
                    rows: Rows { first: row, last: row },
                    laid: state.laid,
                    checked: state.checked,
                    folded: state.folded,
                }),
            }
        }
        for ((block, row), lifted) in damp {
            match ground.damp.last_mut() {
                Some(last) if last.block == block && last.rows.last + 1 == row && last.lifted == lifted => {
                    last.rows.last = row
                }
                _ => ground.damp.push(DampRoll {
                    block,
                    rows: Rows { first: row, last: row },
                    lifted,
                }),
            }
        }
        ground
    }

    /// Covers out in a block; empty if none.
    pub fn lying(&self, block: &BlockId) -> &[Lying] {
        self.out.get(block).map_or(&[], Vec::as_slice)
    }

    /// The earliest laying among the covers out in a block.
    pub fn out_since(&self, block: &BlockId) -> Option<DateTime<Utc>> {
        self.lying(block).iter().map(|lying| lying.laid).min()
    }
}

impl RowState {
    fn of(lying: &Lying) -> Self {
        Self {
            laid: lying.laid,
            checked: lying.checked,
            folded: lying.folded,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(rows: (u32, u32), event: Event, at: &str) -> Entry {
        let at = at.parse().unwrap();
        Entry {
            block: BlockId("Creek".to_owned()),
            rows: Rows {
                first: rows.0,
                last: rows.1,
            },
            event,
            at,
            noted: at,
        }
    }

    fn creek() -> BlockId {
        BlockId("Creek".to_owned())
    }

    fn late() -> DateTime<Utc> {
        "2026-04-01T00:00:00Z".parse().unwrap()
    }

    #[test]
    fn what_was_laid_and_not_lifted_lies_out() {
        let entries = [
            entry((1, 12), Event::Laid, "2026-02-10T08:00:00Z"),
            entry((1, 4), Event::Lifted { wet: true }, "2026-03-01T14:00:00Z"),
            entry((5, 6), Event::Checked, "2026-03-02T09:00:00Z"),
        ];
        let ground = Ground::at(&entries, late());
        let rows: Vec<_> = ground
            .lying(&creek())
            .iter()
            .map(|lying| (lying.rows.first, lying.rows.last))
            .collect();
        assert_eq!(rows, [(5, 6), (7, 12)]);
        assert_eq!(ground.damp.len(), 1);
        assert_eq!((ground.damp[0].rows.first, ground.damp[0].rows.last), (1, 4));
        assert_eq!(
            Ground::at(&entries, "2026-02-20T00:00:00Z".parse().unwrap())
                .lying(&creek())
                .len(),
            1
        );
    }

    #[test]
    fn a_later_entry_corrects_an_earlier_one() {
        let mut wrong = entry((1, 4), Event::Lifted { wet: true }, "2026-03-01T14:00:00Z");
        let mut right = entry((1, 4), Event::Lifted { wet: false }, "2026-03-01T14:00:00Z");
        wrong.noted = "2026-03-01T14:05:00Z".parse().unwrap();
        right.noted = "2026-03-01T14:10:00Z".parse().unwrap();
        // The order in the file does not matter, the time of noting does.
        assert!(Ground::at(&[right, wrong], late()).damp.is_empty());
    }

    #[test]
    fn a_dried_roll_is_no_longer_damp() {
        let entries = [
            entry((1, 4), Event::Laid, "2026-02-01T08:00:00Z"),
            entry((1, 4), Event::Lifted { wet: true }, "2026-03-01T14:00:00Z"),
            entry((1, 2), Event::Redried, "2026-03-02T14:00:00Z"),
        ];
        let ground = Ground::at(&entries, late());
        assert_eq!(ground.damp.iter().map(|roll| roll.rows.first).collect::<Vec<_>>(), [3]);
    }
}
