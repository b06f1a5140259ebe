//! What official warnings do to the weather a morning is judged by: they only ever make it worse.

use chrono::{DateTime, Utc};

use super::{Kind, Notice};
use crate::weather::Timeline;

/// The weather with warnings: thunder in every run while a thunderstorm warning holds, and nothing better than
/// maybe while a wind warning does. Rain, heat and fire are quoted and change nothing here.
pub fn apply(timeline: &Timeline, warnings: &[Notice]) -> Timeline {
    let mut warned = timeline.clone();
    for warning in warnings {
        let span = (warning.from, warning.until);
        match warning.kind {
            Kind::Thunderstorm => thunder(&mut warned, span),
            Kind::Wind => warned.warned.push(span),
            Kind::Rain | Kind::Heat | Kind::Fire | Kind::Other => {}
        }
    }
    warned
}

/// Thunder in each coming hour that a span touches. A forecast that knows no thunder goes on being told as one.
fn thunder(timeline: &mut Timeline, (from, to): (DateTime<Utc>, DateTime<Utc>)) {
    let stamps = timeline.stamps;
    for run in timeline.runs.iter_mut().chain(timeline.main.as_mut()) {
        let silent = run.thunder.is_all_gaps();
        for k in timeline.now_row..stamps.count {
            if from < stamps.at(k) && stamps.start(k) < to {
                run.thunder.put(k, Some(1.0));
            } else if silent {
                // The rest of a series that is not told at all must not turn into holes.
                run.thunder.put(k, Some(0.0));
            }
        }
        if silent {
            for k in 0..timeline.now_row {
                run.thunder.put(k, Some(0.0));
            }
        }
    }
}
