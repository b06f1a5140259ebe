//! `covercast explain`: why a letter says what it says.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;

use super::{Failure, loaded};
use crate::daemon::Clock;
use crate::farm::zone::Zone;
use crate::settings::clean;
use crate::store::{Letter, LetterId, Number, State, Store, Waiting};
use crate::workability::beside::WetDay;

/// Which letter.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Number of the letter, as L-0007
    id: String,
    /// Folder of the farm
    #[arg(long, default_value = ".", value_name = "DIR")]
    farm: PathBuf,
    /// Service file; `service.toml` in the farm folder if not named
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
}

/// Prints the stored factors and verdict of a letter and what became of its messages.
pub(super) fn explain(arguments: &Arguments) -> Result<String, Failure> {
    let shown = clean(&arguments.id);
    let number: Number = arguments.id.parse().map_err(|()| Failure {
        code: 2,
        text: format!("\"{shown}\" is no number of a letter; it looks like L-0007"),
    })?;
    let farm = loaded::farm(&arguments.farm)?;
    let service = loaded::service(arguments.service.as_ref(), &arguments.farm, Clock::Wall.now())?;
    let none = |text: String| Failure { code: 1, text };
    let Some(store) = Store::look(&service.state)? else {
        return Err(none(
            "no letter has been written yet: the daemon has not run with this service file".to_owned(),
        ));
    };
    let id = LetterId {
        farm: farm.id.clone(),
        number,
    };
    let Some(letter) = store.letter(&id)? else {
        let last = store.last_letter(&farm.id)?;
        let hint = last.map_or_else(
            || "there is none yet".to_owned(),
            |last| format!("the last one is {}", last.id.number),
        );
        return Err(none(format!("there is no letter {number} of {}; {hint}", farm.id.0)));
    };
    let parcels = store.parcels_of(&farm.id, number)?;
    Ok(told(&letter, &parcels, &farm.site.zone))
}

fn told(letter: &Letter, parcels: &[Waiting], zone: &Zone) -> String {
    let moment = |at| zone.local(at).format("%a %-d %b %Y %H:%M").to_string();
    let mut text = format!("{} of {}, for {}\n", letter.id.number, letter.id.farm.0, letter.date);
    let _ = writeln!(text, "Subject     {}", clean(&letter.subject));
    let _ = writeln!(text, "Issued      {}", moment(letter.issued));
    let _ = writeln!(text, "Good until  {}", moment(letter.valid_until));
    for parcel in parcels {
        let _ = writeln!(text, "Mail        {}: {}", clean(&parcel.recipient), fate(parcel, zone));
    }
    let pretty = |value: &serde_json::Value| serde_json::to_string_pretty(value).unwrap_or_default();
    let _ = writeln!(text, "\nDecided from\n{}", pretty(&letter.inputs));
    text.push_str(&rules_beside(&letter.inputs));
    let _ = writeln!(text, "\nFactors and verdicts\n{}", pretty(&letter.facts));
    let _ = writeln!(text, "\nThe letter\n");
    for line in letter.text.lines() {
        let _ = writeln!(text, "{}", clean(line));
    }
    text
}

/// Wet hours a day by the model and by three simple rules, a line a block and day; empty for letters without them.
fn rules_beside(inputs: &serde_json::Value) -> String {
    #[derive(serde::Deserialize)]
    struct Beside {
        block: String,
        days: Vec<WetDay>,
    }
    let stored = inputs
        .get("wet_hours_by_the_model_and_by_simple_rules")
        .cloned()
        .unwrap_or_default();
    let blocks: Vec<Beside> = serde_json::from_value(stored).unwrap_or_default();
    if blocks.iter().all(|block| block.days.is_empty()) {
        return String::new();
    }
    let mut text = String::from("\nWet hours a day, the model beside simple rules for leaves\n");
    for (block, day) in blocks
        .iter()
        .flat_map(|block| block.days.iter().map(|day| (&block.block, day)))
    {
        let _ = writeln!(
            text,
            "{} {}, {} h known: model top {}, underside {}; humidity 90 % or more {}; less than 2 K to the dew point {}; \
             either or rain {}",
            clean(block),
            day.day,
            day.hours,
            day.model_top,
            day.model_under,
            day.humid,
            day.close,
            day.either_or_rain
        );
    }
    text.push_str(
        "The rules know the air only. The model also knows the water left from rain and dew, little sun and weak wind\n\
         between the trees, and the damp ground below: a cover dries later than leaves.\n",
    );
    text
}

/// What became of a message, in words.
pub(super) fn fate(parcel: &Waiting, zone: &Zone) -> String {
    let clock = |at| zone.local(at).format("%a %H:%M").to_string();
    let why = parcel
        .last_error
        .as_ref()
        .map(|why| format!(" ({})", clean(why)))
        .unwrap_or_default();
    let at = parcel.ended.map(clock).unwrap_or_default();
    match parcel.state {
        State::Sent => format!("sent {at}, try {}", parcel.attempts),
        State::Refused => format!("refused for good {at}{why}"),
        State::Dropped => format!("not sent, given up {at}{why}"),
        State::Waiting if parcel.attempts == 0 => format!("waiting{why}"),
        State::Waiting => {
            let doubt = if parcel.fate_unknown { "; may have arrived" } else { "" };
            format!(
                "waiting, {} tries, next {}{doubt}{why}",
                parcel.attempts,
                clock(parcel.next_try)
            )
        }
    }
}
