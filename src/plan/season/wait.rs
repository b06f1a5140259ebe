//! Go now, or wait for a better window: backward induction over the windows that are left.
//!
//! In:     windows in time order: the chance of each, and what using it gives up; the cost of a call-out that fails;
//!         the cost of missing all. One unit of money throughout.
//! Out:    what is expected to be lost if things are left to the best rule from each window on, and the chance above
//!         which it pays to go.
//! Source: cost-loss decisions with what is at stake now in place of a fixed loss; plain backward induction. Related:
//!         Murphy, Katz, Winkler and Hsu 1985, Mon. Wea. Rev. 113; Epstein and Murphy 1988, Mon. Wea. Rev. 116 (from
//!         memory).

/// Chances this near to the threshold are a close call.
pub const CLOSE_CALL: f64 = 0.05;

/// What is known of a window's chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Chance {
    /// Forecast: a share of 1.
    Known(f64),
    /// To be forecast freshly when it is near, as in [`Later`].
    Later,
}

/// One window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Its chance.
    pub chance: Chance,
    /// What using it gives up against the best moment: the light of the days that remain, less the risk that what is
    /// coming damages a cover that stays.
    pub gives_up: f64,
}

/// What is at stake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stakes {
    /// A call-out that fails.
    pub call_out: f64,
    /// All windows missed.
    pub missed: f64,
}

/// How fresh forecasts of a window fall: chance and how often it is said. How often sums to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Later(pub Vec<(f64, f64)>);

impl Default for Later {
    /// Assumed: until the farm's own archive of forecasts says more.
    fn default() -> Self {
        Self(vec![(0.10, 0.30), (0.40, 0.25), (0.70, 0.25), (0.95, 0.20)])
    }
}

/// The rule for one job.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Expected loss from each window on, before a later forecast is seen; the last entry is that of missing all.
    pub loss: Vec<f64>,
    /// Go in a window if its chance is above this; `None` where waiting is never dearer.
    pub threshold: Vec<Option<f64>>,
    windows: Vec<Window>,
    call_out: f64,
}

/// What to do about a window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decision {
    /// Go, or wait.
    pub go: bool,
    /// The chance lies within [`CLOSE_CALL`] of the threshold.
    pub close_call: bool,
    /// Chance.
    pub chance: f64,
    /// Threshold, if going can pay at all.
    pub threshold: Option<f64>,
    /// Expected loss if the better of both is done.
    pub loss_now: f64,
    /// Expected loss if this window is let pass.
    pub loss_waiting: f64,
}

/// The rule for one job over its windows.
pub fn wait_or_act(windows: &[Window], stakes: Stakes, later: &Later) -> Rule {
    let mut loss = vec![stakes.missed];
    let mut threshold = Vec::new();
    let mut next = stakes.missed;
    for window in windows.iter().rev() {
        threshold.push(go_above(window.gives_up, next, stakes.call_out));
        let best = |chance: f64| next.min(going(chance, window.gives_up, next, stakes.call_out));
        next = match window.chance {
            Chance::Known(chance) => best(chance),
            Chance::Later => later.0.iter().map(|(chance, often)| often * best(*chance)).sum(),
        };
        loss.push(next);
    }
    loss.reverse();
    threshold.reverse();
    Rule {
        loss,
        threshold,
        windows: windows.to_vec(),
        call_out: stakes.call_out,
    }
}

/// Expected loss of going: it works, or the call-out is lost and the rest remains.
fn going(chance: f64, gives_up: f64, next: f64, call_out: f64) -> f64 {
    chance * gives_up + (1.0 - chance) * (call_out + next)
}

fn go_above(gives_up: f64, next: f64, call_out: f64) -> Option<f64> {
    (next > gives_up).then(|| call_out / (call_out + next - gives_up))
}

impl Rule {
    /// What to do about window `at` if it is forecast with `chance`, or with the chance that is known; `None` if there
    /// is no such window or nothing is known of it.
    pub fn decide(&self, at: usize, chance: Option<f64>) -> Option<Decision> {
        let window = self.windows.get(at)?;
        let known = match window.chance {
            Chance::Known(known) => Some(known),
            Chance::Later => None,
        };
        let chance = chance.or(known)?;
        let (threshold, waiting) = (*self.threshold.get(at)?, *self.loss.get(at + 1)?);
        Some(Decision {
            go: threshold.is_some_and(|threshold| chance > threshold),
            close_call: threshold.is_some_and(|threshold| (chance - threshold).abs() <= CLOSE_CALL),
            chance,
            threshold,
            loss_now: waiting.min(going(chance, window.gives_up, waiting, self.call_out)),
            loss_waiting: waiting,
        })
    }
}

/// The rule for several lots of which a window takes only so many.
#[derive(Debug, Clone, PartialEq)]
pub struct Several {
    /// Expected loss from window `t` on with `k` lots left at `[t][k]`; the last row is that of missing all.
    pub loss: Vec<Vec<f64>>,
    /// How many to start in window `t` with `k` lots left at `[t][k]`.
    pub start: Vec<Vec<usize>>,
}

/// The rule for up to `lots` lots, at most `cap` a window. `gives_up` and `missed` are those of one lot; a call-out is
/// paid once, however many are started.
pub fn several(windows: &[Window], stakes: Stakes, later: &Later, lots: usize, cap: usize) -> Several {
    let mut next: Vec<f64> = (0..=lots).map(|left| left as f64 * stakes.missed).collect();
    let mut loss = vec![next.clone()];
    let mut start = Vec::new();
    for window in windows.iter().rev() {
        let best = |left: usize, chance: f64| {
            let wait = next.get(left).copied().unwrap_or(0.0);
            let (mut lowest, mut begun) = (wait, 0);
            for begin in 1..=cap.min(left) {
                let rest = next.get(left - begin).copied().unwrap_or(0.0);
                let works = begin as f64 * window.gives_up + rest;
                let value = chance * works + (1.0 - chance) * (stakes.call_out + wait);
                if value < lowest {
                    (lowest, begun) = (value, begin);
                }
            }
            (lowest, begun)
        };
        let row: Vec<(f64, usize)> = (0..=lots)
            .map(|left| match window.chance {
                Chance::Known(chance) => best(left, chance),
                Chance::Later => {
                    let expected = later
                        .0
                        .iter()
                        .map(|(chance, often)| often * best(left, *chance).0)
                        .sum();
                    (expected, 0)
                }
            })
            .collect();
        next = row.iter().map(|cell| cell.0).collect();
        loss.push(next.clone());
        start.push(row.into_iter().map(|cell| cell.1).collect());
    }
    loss.reverse();
    start.reverse();
    Several { loss, start }
}

/// Weather that persists: chance of a good window after a good one, and after a bad one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spells {
    /// After a good window.
    pub after_good: f64,
    /// After a bad one.
    pub after_bad: f64,
}

/// Expected loss and whether to go in the first window, whose chance is `first`, where later chances follow from
/// whether the window before was good; independence would overstate several windows of one wet spell.
pub fn in_spells(gives_up: &[f64], first: f64, spells: Spells, stakes: Stakes) -> (f64, bool) {
    let (mut after_good, mut after_bad) = (stakes.missed, stakes.missed);
    let mut decision = (stakes.missed, false);
    for (at, gives_up) in gives_up.iter().enumerate().rev() {
        let weigh = |chance: f64| {
            let wait = chance * after_good + (1.0 - chance) * after_bad;
            let go = chance * gives_up + (1.0 - chance) * (stakes.call_out + after_bad);
            (wait.min(go), go < wait)
        };
        if at == 0 {
            decision = weigh(first);
        }
        (after_good, after_bad) = (weigh(spells.after_good).0, weigh(spells.after_bad).0);
    }
    decision
}

#[cfg(test)]
mod tests {
    use super::*;

    const GIVES_UP: [f64; 6] = [90.0, 75.0, 60.0, 40.0, 20.0, 0.0];
    const CHANCES: [f64; 6] = [0.85, 0.40, 0.70, 0.30, 0.60, 0.45];
    const STAKES: Stakes = Stakes {
        call_out: 60.0,
        missed: 900.0,
    };

    fn known() -> Vec<Window> {
        let window = |(chance, gives_up): (f64, f64)| Window {
            chance: Chance::Known(chance),
            gives_up,
        };
        CHANCES.into_iter().zip(GIVES_UP).map(window).collect()
    }

    fn printed(values: &[f64], digits: usize) -> String {
        values
            .iter()
            .map(|value| format!("{value:.digits$}"))
            .collect::<Vec<_>>()
            .join(" ")
    }

    fn thresholds(rule: &Rule) -> String {
        printed(
            &rule
                .threshold
                .iter()
                .map(|threshold| threshold.unwrap())
                .collect::<Vec<_>>(),
            3,
        )
    }

    /// Worked example C: six half-days.
    #[test]
    fn six_half_days_have_the_printed_losses_thresholds_and_decisions() {
        let rule = wait_or_act(&known(), STAKES, &Later::default());
        assert_eq!(printed(&rule.loss, 1), "104.7 128.1 128.1 227.0 247.2 528.0 900.0");
        assert_eq!(thresholds(&rule), "0.612 0.530 0.264 0.225 0.106 0.062");
        let go: Vec<bool> = (0..6).map(|at| rule.decide(at, None).unwrap().go).collect();
        assert_eq!(go, [true, false, true, true, true, true]);
    }

    /// Worked example C: fresh forecasts fall in four bins.
    #[test]
    fn forecasts_to_come_make_waiting_worth_more() {
        let mut windows: Vec<Window> = GIVES_UP
            .into_iter()
            .map(|gives_up| Window {
                chance: Chance::Later,
                gives_up,
            })
            .collect();
        let rule = wait_or_act(&windows, STAKES, &Later::default());
        assert_eq!(printed(&rule.loss[..1], 1), "115.2");
        assert_eq!(thresholds(&rule), "0.655 0.478 0.326 0.198 0.114 0.062");
        let today = rule.decide(0, Some(0.40)).unwrap();
        assert!(!today.go && !today.close_call);
        assert_eq!(printed(&[today.loss_now], 1), "121.6");
        assert_eq!(rule.decide(0, None), None, "nothing is known of today");
        windows[0].chance = Chance::Known(0.40);
        assert_eq!(
            printed(&wait_or_act(&windows, STAKES, &Later::default()).loss[..1], 1),
            "121.6"
        );
    }

    /// Worked example C: mean costs of simpler rules under the same bins, exactly.
    #[test]
    fn simpler_rules_cost_the_printed_more() {
        let cost = |goes: &dyn Fn(usize, f64) -> bool| {
            let mut next = STAKES.missed;
            for (at, gives_up) in GIVES_UP.into_iter().enumerate().rev() {
                let said = |(chance, often): &(f64, f64)| {
                    often
                        * if goes(at, *chance) {
                            going(*chance, gives_up, next, STAKES.call_out)
                        } else {
                            next
                        }
                };
                next = Later::default().0.iter().map(said).sum();
            }
            next
        };
        let fixed = STAKES.call_out / (STAKES.call_out + STAKES.missed);
        let costs = [
            cost(&|_, chance| chance >= 0.7),
            cost(&|_, chance| chance > fixed),
            cost(&|at, _| at >= 4),
            cost(&|_, chance| chance >= 0.9),
        ];
        assert_eq!(printed(&costs, 1), "136.0 149.2 285.0 298.2");
    }

    /// Worked example C: five lots, two a window, each with a fifth of what is at stake.
    #[test]
    fn with_five_lots_early_windows_must_be_used() {
        let windows: Vec<Window> = known()
            .into_iter()
            .map(|window| Window {
                gives_up: window.gives_up / 5.0,
                ..window
            })
            .collect();
        let stakes = Stakes {
            missed: STAKES.missed / 5.0,
            ..STAKES
        };
        let rule = several(&windows, stakes, &Later::default(), 5, 2);
        assert_eq!(printed(&[rule.loss[0][5]], 1), "234.3");
        assert_eq!(rule.start[0][5], 2);
        assert_eq!(
            rule.start[1],
            [0, 0, 0, 0, 2, 2],
            "in window 1 only with four or more left"
        );
    }

    #[test]
    fn several_lots_of_one_are_one_lot() {
        let (one, many) = (
            wait_or_act(&known(), STAKES, &Later::default()),
            several(&known(), STAKES, &Later::default(), 1, 3),
        );
        for (loss, row) in one.loss.iter().zip(&many.loss) {
            assert!((loss - row[1]).abs() < 1e-9);
            assert!(row[0].abs() < 1e-9, "nothing left, nothing lost");
        }
    }

    #[test]
    fn a_chance_near_the_threshold_is_a_close_call() {
        let rule = wait_or_act(&known(), STAKES, &Later::default());
        let said = |chance: f64| rule.decide(0, Some(chance)).unwrap();
        assert!(said(0.65).close_call && said(0.65).go);
        assert!(said(0.58).close_call && !said(0.58).go);
        assert!(!said(0.70).close_call);
    }

    #[test]
    fn a_window_that_gives_up_more_than_waiting_costs_is_never_used() {
        let windows = [Window {
            chance: Chance::Known(1.0),
            gives_up: 950.0,
        }];
        let rule = wait_or_act(&windows, STAKES, &Later::default());
        assert_eq!(rule.threshold, [None]);
        assert!((rule.loss[0] - 900.0).abs() < 1e-9);
        assert!(!rule.decide(0, None).unwrap().go);
    }

    #[test]
    fn without_spells_the_chance_of_each_window_is_its_own() {
        let alike: Vec<Window> = GIVES_UP
            .into_iter()
            .map(|gives_up| Window {
                chance: Chance::Known(0.5),
                gives_up,
            })
            .collect();
        let plain = wait_or_act(&alike, STAKES, &Later::default());
        let spells = Spells {
            after_good: 0.5,
            after_bad: 0.5,
        };
        let (loss, go) = in_spells(&GIVES_UP, 0.5, spells, STAKES);
        assert!((loss - plain.loss[0]).abs() < 1e-9);
        assert_eq!(go, plain.decide(0, None).unwrap().go);
    }

    #[test]
    fn in_a_wet_spell_waiting_costs_more() {
        let loss = |spells| in_spells(&GIVES_UP, 0.3, spells, STAKES).0;
        let independent = loss(Spells {
            after_good: 0.5,
            after_bad: 0.5,
        });
        assert!(
            loss(Spells {
                after_good: 0.8,
                after_bad: 0.2
            }) > independent
        );
    }
}
