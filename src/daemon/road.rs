//! The daemon's slow work as it is: the services asked, and the road walked from the last replies to the letter.

use std::sync::Arc;

use super::work::{Decided, Question, Work};
use crate::record::Ground;

/// The work of a real daemon.
pub fn work() -> Work {
    Work { pull: Arc::new(|_, _, _| Box::pin(async { Vec::new() })), decide: Arc::new(|question| decide(&question)) }
}

fn decide(question: &Question) -> Decided {
    let zone = &question.farm.site.zone;
    let ground = Ground::at(&question.entries, question.now);
    let text = format!("No forecast is at hand. Blocks with covers out: {}.", ground.out.len());
    Decided {
        subject: format!("UNKNOWN: no forecast | {}", question.due.date.format("%a %-d %b")),
        html: format!("<p>{text}</p>"),
        text,
        picture: None,
        calendar: None,
        facts: serde_json::json!({ "verdict": "unknown" }),
        inputs: serde_json::json!({ "reports": question.entries.len(), "zone": zone.name() }),
        issued: question.now,
        valid_until: zone.day_start(question.due.date.succ_opt().unwrap_or(question.due.date)),
    }
}
