//! Single values of a reply: in canonical units, or taken out because no weather is like that.

use super::names::Variable;
use super::reply::Column;

/// A wind or gust of a single hour above this \[m/s\], with less than half of it on both sides, is a slip.
const SPIKE: [(Variable, f64); 2] = [(Variable::Wind, 40.0), (Variable::Gust, 50.0)];

/// Values in canonical units, `None` for gaps and for impossible ones, and the count of the latter.
pub(super) fn canonical(
    variable: Variable,
    column: &Column,
    (factor, offset): (f64, f64),
) -> (Vec<Option<f64>>, usize) {
    let (lowest, highest) = variable.range();
    let mut rejected = column.odd;
    let mut values: Vec<Option<f64>> = Vec::with_capacity(column.values.len());
    for raw in &column.values {
        let value = (!raw.is_nan()).then(|| f64::from(*raw) * factor + offset);
        let fits = |value: &f64| {
            (lowest..=highest).contains(value) && (variable != Variable::Code || value.fract().abs() < 1e-9)
        };
        let kept = value.filter(fits);
        rejected += usize::from(value.is_some() && kept.is_none());
        values.push(kept);
    }
    if let Some((_, limit)) = SPIKE.into_iter().find(|(spiky, _)| *spiky == variable) {
        rejected += cut_spikes(&mut values, limit);
    }
    (values, rejected)
}

fn cut_spikes(values: &mut [Option<f64>], limit_m_s: f64) -> usize {
    let slips: Vec<usize> = values
        .windows(3)
        .enumerate()
        .filter(|(_, hours)| {
            matches!(hours, [Some(before), Some(slip), Some(after)]
                if *slip > limit_m_s && *before < 0.5 * slip && *after < 0.5 * slip)
        })
        .map(|(start, _)| start + 1)
        .collect();
    for slip in &slips {
        if let Some(value) = values.get_mut(*slip) {
            *value = None;
        }
    }
    slips.len()
}

/// Snow falling or lying, by whatever of the three is told: any that says so is enough, and none that
/// says nothing makes it a no.
pub(super) fn snow(
    codes: Option<&Vec<Option<f64>>>,
    falls: Option<&Vec<Option<f64>>>,
    depths: Option<&Vec<Option<f64>>>,
    count: usize,
) -> Vec<Option<f64>> {
    let told = [
        codes.map(|codes| {
            (
                codes,
                (|code| (71.0..=77.0).contains(&code) || (85.0..=86.0).contains(&code)) as fn(f64) -> bool,
            )
        }),
        falls.map(|falls| (falls, (|depth| depth > 0.0) as fn(f64) -> bool)),
        depths.map(|depths| (depths, (|depth| depth >= 0.01) as fn(f64) -> bool)),
    ];
    let hour = |k: usize| {
        let says = told
            .iter()
            .flatten()
            .map(|(values, is)| values.get(k).copied().flatten().map(*is));
        let says: Vec<Option<bool>> = says.collect();
        if says.contains(&Some(true)) {
            return Some(1.0);
        }
        (!says.is_empty() && !says.contains(&None)).then_some(0.0)
    };
    (0..count).map(hour).collect()
}
