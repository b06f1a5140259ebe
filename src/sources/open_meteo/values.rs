//! Single values of a reply: in canonical units, or taken out because no weather is like that.
//!
//! NaN is a gap, as in a series; the lists of a large reply are changed where they lie.

use super::names::Variable;

/// A wind or gust of a single hour above this \[m/s\], with less than half of it on both sides, is a slip.
const SPIKE: [(Variable, f32); 2] = [(Variable::Wind, 40.0), (Variable::Gust, 50.0)];

/// Turns values into canonical units, impossible ones into gaps, and counts the latter and the kept ones.
pub(super) fn canonical(variable: Variable, values: &mut [f32], (factor, offset): (f64, f64)) -> (usize, usize) {
    let (lowest, highest) = variable.range();
    let (mut rejected, mut kept) = (0, 0);
    for slot in values.iter_mut() {
        if slot.is_nan() {
            continue;
        }
        let value = f64::from(*slot) * factor + offset;
        let whole = variable != Variable::Code || value.fract().abs() < 1e-9;
        if (lowest..=highest).contains(&value) && whole {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "weather has four significant digits, f32 has seven"
            )]
            let value = value as f32;
            *slot = value;
            kept += 1;
        } else {
            *slot = f32::NAN;
            rejected += 1;
        }
    }
    if let Some((_, limit)) = SPIKE.into_iter().find(|(spiky, _)| *spiky == variable) {
        let slips = cut_spikes(values, limit);
        rejected += slips;
        kept -= slips;
    }
    (rejected, kept)
}

fn cut_spikes(values: &mut [f32], limit_m_s: f32) -> usize {
    let slips: Vec<usize> = values
        .windows(3)
        .enumerate()
        // A gap is not less than anything.
        .filter(|(_, hours)| {
            matches!(hours, [before, slip, after]
                if *slip > limit_m_s && *before < 0.5 * slip && *after < 0.5 * slip)
        })
        .map(|(start, _)| start + 1)
        .collect();
    for slip in &slips {
        if let Some(value) = values.get_mut(*slip) {
            *value = f32::NAN;
        }
    }
    slips.len()
}

/// 1 where a weather code is one of those asked for, 0 where it is another, a gap where there is none.
pub(super) fn flags(codes: &[f32], is: fn(f32) -> bool) -> Vec<f32> {
    let flag = |code: &f32| {
        if code.is_nan() {
            f32::NAN
        } else {
            f32::from(u8::from(is(*code)))
        }
    };
    codes.iter().map(flag).collect()
}

/// Whether a weather code tells of falling snow.
pub(super) fn is_snow(code: f32) -> bool {
    (71.0..=77.0).contains(&code) || (85.0..=86.0).contains(&code)
}

/// Whether a weather code tells of thunder.
pub(super) fn is_thunder(code: f32) -> bool {
    code >= 95.0
}

/// Whether a weather code tells of fog.
pub(super) fn is_fog(code: f32) -> bool {
    (45.0..=48.0).contains(&code)
}

/// Snow falling or lying, by whatever of the three is told: any that says so is enough, and none that
/// says nothing makes it a no.
pub(super) fn snow(codes: Option<&[f32]>, falls: Option<&[f32]>, depths: Option<&[f32]>, count: usize) -> Vec<f32> {
    let told = [
        codes.map(|codes| (codes, is_snow as fn(f32) -> bool)),
        falls.map(|falls| (falls, (|depth| depth > 0.0) as fn(f32) -> bool)),
        depths.map(|depths| (depths, (|depth| depth >= 0.01) as fn(f32) -> bool)),
    ];
    let hour = |k: usize| {
        let (mut any, mut all_known, mut snows) = (false, true, false);
        for (values, is) in told.iter().flatten() {
            any = true;
            match values.get(k).copied().filter(|value| !value.is_nan()) {
                Some(value) => snows |= is(value),
                None => all_known = false,
            }
        }
        match (snows, any && all_known) {
            (true, _) => 1.0,
            (false, true) => 0.0,
            (false, false) => f32::NAN,
        }
    };
    (0..count).map(hour).collect()
}
