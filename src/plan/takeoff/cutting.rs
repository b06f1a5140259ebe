//! Which parts are cut from which roll: few rolls, then one long offcut.
//!
//! In:     lengths of parts, none longer than a roll.
//! Out:    rolls as lists of places in that list, and the least number of rolls that anybody could do with.
//! Source: best-fit decreasing (Johnson et al. 1974); minimum bin slack (Gupta & Ho 1999, Production Planning and
//!         Control 10); bound L2 (Martello & Toth 1990, Knapsack Problems, ch. 8): all from memory.

/// Looks at sets of parts for one roll before the best one so far is taken. Keeps a big farm under a second.
const MOST_LOOKS: u32 = 20_000;

/// Rolls, each the places of its parts, longest part first. Parts longer than a roll must not be given.
pub(super) fn cut(lengths: &[u64], roll: u64) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..lengths.len()).collect();
    order.sort_by_key(|place| (std::cmp::Reverse(length(lengths, *place)), *place));
    let fitted = best_fit(lengths, &order, roll);
    let filled = least_slack(lengths, &order, roll);
    let rank = |rolls: &[Vec<usize>]| {
        let longest = rolls.iter().map(|one| roll - used(lengths, one)).max().unwrap_or(0);
        (rolls.len(), std::cmp::Reverse(longest))
    };
    if rank(&filled) < rank(&fitted) { filled } else { fitted }
}

/// Fewer rolls than this are not possible (L2).
pub(super) fn least_rolls(lengths: &[u64], roll: u64) -> usize {
    let mut limits: Vec<u64> = lengths.iter().copied().filter(|length| 2 * length <= roll).collect();
    limits.push(0);
    let bound = |limit: u64| {
        let big = lengths.iter().filter(|length| **length > roll - limit).count();
        let middle: Vec<u64> = lengths
            .iter()
            .copied()
            .filter(|length| 2 * length > roll && *length <= roll - limit)
            .collect();
        let small: u64 = lengths
            .iter()
            .filter(|length| **length >= limit && 2 * **length <= roll)
            .sum();
        let room = middle.iter().map(|length| roll - length).sum::<u64>();
        let more = small.saturating_sub(room).div_ceil(roll.max(1));
        big + middle.len() + usize::try_from(more).unwrap_or(usize::MAX)
    };
    limits.into_iter().map(bound).max().unwrap_or(0)
}

fn length(lengths: &[u64], place: usize) -> u64 {
    lengths.get(place).copied().unwrap_or(0)
}

fn used(lengths: &[u64], roll: &[usize]) -> u64 {
    roll.iter().map(|place| length(lengths, *place)).sum()
}

/// Each part, longest first, onto the roll on which it leaves least.
fn best_fit(lengths: &[u64], order: &[usize], roll: u64) -> Vec<Vec<usize>> {
    let mut rolls: Vec<(u64, Vec<usize>)> = Vec::new();
    for place in order {
        let need = length(lengths, *place);
        let tightest = rolls
            .iter_mut()
            .filter(|(room, _)| *room >= need)
            .min_by_key(|(room, _)| *room);
        match tightest {
            Some((room, parts)) => {
                *room -= need;
                parts.push(*place);
            }
            None => rolls.push((roll.saturating_sub(need), vec![*place])),
        }
    }
    rolls.into_iter().map(|(_, parts)| parts).collect()
}

/// The longest part that is left opens a roll, which is filled with the set that leaves least.
fn least_slack(lengths: &[u64], order: &[usize], roll: u64) -> Vec<Vec<usize>> {
    let mut left: Vec<usize> = order.to_vec();
    let mut rolls = Vec::new();
    while !left.is_empty() {
        let first = left.remove(0);
        let mut search = Search {
            lengths,
            left: &left,
            chosen: Vec::new(),
            best: Vec::new(),
            best_room: u64::MAX,
            looks: 0,
        };
        search.fill(0, roll.saturating_sub(length(lengths, first)));
        let best = search.best;
        left.retain(|place| !best.contains(place));
        rolls.push(std::iter::once(first).chain(best).collect());
    }
    rolls
}

struct Search<'a> {
    lengths: &'a [u64],
    left: &'a [usize],
    chosen: Vec<usize>,
    best: Vec<usize>,
    best_room: u64,
    looks: u32,
}

impl Search<'_> {
    fn fill(&mut self, from: usize, room: u64) {
        self.looks += 1;
        if room < self.best_room {
            self.best_room = room;
            self.best.clone_from(&self.chosen);
        }
        let mut before = None;
        for at in from..self.left.len() {
            if self.best_room == 0 || self.looks > MOST_LOOKS {
                return;
            }
            let Some(place) = self.left.get(at).copied() else {
                return;
            };
            let need = length(self.lengths, place);
            // An equal part was tried here already.
            if need > room || before == Some(need) {
                continue;
            }
            before = Some(need);
            self.chosen.push(place);
            self.fill(at + 1, room - need);
            self.chosen.pop();
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Fewest rolls by trying everything: each part onto every roll begun, or a new one.
    fn fewest(lengths: &[u64], rolls: &mut Vec<u64>, roll: u64, best: usize) -> usize {
        let Some((need, rest)) = lengths.split_first() else {
            return rolls.len().min(best);
        };
        let mut best = best;
        for at in 0..rolls.len() {
            if rolls[at] >= *need {
                rolls[at] -= need;
                best = fewest(rest, rolls, roll, best);
                rolls[at] += need;
            }
        }
        if rolls.len() + 1 < best {
            rolls.push(roll - need);
            best = fewest(rest, rolls, roll, best);
            rolls.pop();
        }
        best
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn the_bound_is_never_above_the_fewest_rolls_and_the_cut_never_below(
            lengths in prop::collection::vec(1..=80_u64, 0..8),
        ) {
            let exact = fewest(&lengths, &mut Vec::new(), 80, lengths.len() + 1);
            let (bound, found) = (least_rolls(&lengths, 80), cut(&lengths, 80).len());
            prop_assert!(bound <= exact, "{bound} {exact}");
            prop_assert!(exact <= found && found <= exact + 1, "{exact} {found}");
        }

        #[test]
        fn every_part_is_cut_once_and_no_roll_is_longer_than_it_is(
            lengths in prop::collection::vec(1..=800_u64, 0..120),
        ) {
            let rolls = cut(&lengths, 800);
            let mut places: Vec<usize> = rolls.iter().flatten().copied().collect();
            places.sort_unstable();
            prop_assert_eq!(places, (0..lengths.len()).collect::<Vec<_>>());
            prop_assert!(rolls.iter().all(|roll| used(&lengths, roll) <= 800));
            prop_assert!(rolls.len() >= least_rolls(&lengths, 800));
        }
    }

    /// Worked example of the trade's cut list, checked by hand: 85 + 215 + 500 = 800 and so on.
    #[test]
    fn parts_that_fill_rolls_to_the_end_leave_nothing() {
        let rolls = cut(&[500, 300, 400, 215, 85, 400, 500], 800);
        assert_eq!(rolls.len(), 3);
        assert_eq!(least_rolls(&[500, 300, 400, 215, 85, 400, 500], 800), 3);
    }

    #[test]
    fn parts_of_more_than_half_a_roll_take_a_roll_each() {
        assert_eq!(least_rolls(&[410, 410, 410], 800), 3);
        assert_eq!(cut(&[410, 410, 410], 800).len(), 3);
    }
}
