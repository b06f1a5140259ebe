//! The letter as data: sentences in the order in which they are read, and plain values for programs.

mod blocks;
mod calendar_jobs;
mod care;
mod days;
mod digest;
mod end;
mod head;
mod headline;
mod heat;
mod hot_tool;
mod lead;
mod morning;
mod rolls;
mod season;
mod subject;
mod ties;
mod today;
mod turns;
mod warnings;
mod windows;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::farm::block::{BlockId, Rows};
use crate::farm::{Farm, FarmId, Job};
use crate::plan::Plan;
use crate::record::Ground;
use crate::units::{DisplayUnits, MetresPerSecond};
use crate::weather::Timeline;
use crate::weather::warning::{Kind, Notice, Severity};
use crate::workability::{BlockOutlook, Chance, Reason, Verdict};

pub use digest::{Digest, Promise};
pub(super) use head::estimates;
pub(super) use headline::word as verdict_word;
pub use season::{GoToday, Move, Season, SeasonLine, WhyLine};

/// Name and version of the letter's form in JSON.
pub const SCHEMA: &str = "covercast-letter/1";

/// Everything a letter is made from.
#[derive(Debug, Clone, Copy)]
pub struct Inputs<'a> {
    /// The farm.
    pub farm: &'a Farm,
    /// What lies where.
    pub ground: &'a Ground,
    /// The weather; `None` if no forecast could be read.
    pub timeline: Option<&'a Timeline>,
    /// What the weather means for each block; may be empty without a forecast.
    pub outlooks: &'a [BlockOutlook],
    /// Which job comes next.
    pub plan: &'a Plan,
    /// Time of issue.
    pub now: DateTime<Utc>,
    /// When the next letter is due.
    pub next_letter: DateTime<Utc>,
    /// Running number of the letter.
    pub number: u32,
    /// What yesterday's letter said.
    pub yesterday: Option<&'a Digest>,
    /// Official warnings that hold now or will.
    pub warnings: &'a [Notice],
}

/// A morning letter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Letter {
    /// [`SCHEMA`].
    pub schema: String,
    /// Name of this letter for `explain`, such as `L-0310`.
    pub id: String,
    /// The farm's name.
    pub farm: String,
    /// The farm's short name.
    pub farm_id: FarmId,
    /// Name of the zone of all local times in sentences.
    pub zone: String,
    /// Units of all sentences. Plain values are metric, with the unit in their name.
    pub units: DisplayUnits,
    /// When it was written.
    pub issued: DateTime<Utc>,
    /// Until when it may be read as current.
    pub good_until: DateTime<Utc>,
    /// When the next one is due.
    pub next_letter: DateTime<Utc>,
    /// Subject of the mail.
    pub subject: String,
    /// Verdict of the headline.
    pub verdict: Verdict,
    /// Whether crew hours of today are unknown although others are not.
    pub partly_unknown: bool,
    /// First three lines.
    pub head: Head,
    /// The one thing to know.
    pub headline: Headline,
    /// Jobs of today.
    pub today: Today,
    /// Official warnings for the farm, each once.
    #[serde(default)]
    pub warnings: Vec<Official>,
    /// Jobs of the coming days up to the next workday, if any.
    pub ahead: Option<Ahead>,
    /// What would turn the verdict, and how far off it is.
    pub turns: Option<Turns>,
    /// What changed since yesterday's letter.
    pub since_yesterday: Option<String>,
    /// Why not tomorrow.
    pub why: Option<Days>,
    /// What is left if today fails.
    pub fails: Option<Days>,
    /// All usable hours, best first.
    pub windows: Option<Windows>,
    /// Every block.
    pub blocks: Blocks,
    /// The plan to harvest, if the season could be planned.
    pub season: Option<Season>,
    /// Ties in the next 48 hours.
    pub ties: Option<Ties>,
    /// Damp rolls, one sentence each.
    pub rolls: Vec<String>,
    /// Cautions of the day.
    pub care: Vec<String>,
    /// The end.
    pub end: End,
    /// What the chart draws.
    pub chart: Option<super::chart::ChartFacts>,
    /// Recommended jobs as plain values, for the calendar and for other programs.
    pub jobs: Vec<JobFact>,
    /// Compared by tomorrow's letter.
    pub digest: Digest,
}

/// The first three lines.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// "Tue 10 Mar 2026, 05:30".
    pub issued: String,
    /// "Wed 11 Mar, 06:00".
    pub good_until: String,
    /// Runs, age, station and what is missing.
    pub forecast: String,
    /// Whether the forecast is old, so that its line stands out.
    pub stale: bool,
    /// What else is missing, one sentence each.
    pub remarks: Vec<String>,
}

/// The headline.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Headline {
    /// Without the verdict word and full stop: "Lift Creek this afternoon, from 13:30".
    pub sentence: String,
    /// For MAYBE: when to look again, "look at 11:30".
    pub look: Option<String>,
    /// The chance and of what; `None` where nothing is advised.
    pub chance: Option<String>,
    /// Reasons and warnings, one sentence each.
    pub because: Vec<String>,
}

/// Jobs of today.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Today {
    /// In time order.
    pub items: Vec<Item>,
    /// A sentence instead of, or after, the jobs.
    pub note: Option<String>,
}

/// An official warning, quoted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Official {
    /// What it is about.
    pub kind: Kind,
    /// How bad, in the issuer's word.
    pub severity: Severity,
    /// Who issued it.
    pub issuer: String,
    /// What the issuer calls the event.
    pub event: String,
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when.
    pub until: DateTime<Utc>,
    /// "Tue 12:00 to Wed 06:00".
    pub when: String,
    /// The issuer's text, shortened.
    pub quote: String,
    /// What is to be known about it, one sentence each.
    pub notes: Vec<String>,
}

/// Jobs of the next days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ahead {
    /// "Tomorrow" or "Until Monday".
    pub heading: String,
    /// In time order.
    pub items: Vec<Item>,
}

/// One job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// "13:30", or "Mon 08:00" on another day.
    pub at: String,
    /// "Lift Creek, rows 1-12".
    pub what: String,
    /// Sentences below it.
    pub notes: Vec<String>,
}

/// What would turn the verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Turns {
    /// "the underside is still damp at 15:50, or gusts pass 40 km/h".
    pub turns: String,
    /// "15 km/h of wind, 30 min of drying".
    pub margin: String,
}

/// Lines that begin with a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Days {
    /// "Why not tomorrow?"
    pub heading: String,
    /// One entry a day.
    pub lines: Vec<DayLine>,
    /// The way out, last of all.
    pub last: Vec<DayLine>,
}

/// One day, or one way out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DayLine {
    /// "Wed"; empty for a sentence without a day.
    pub day: String,
    /// First sentence, without full stop.
    pub text: String,
    /// Further sentences.
    pub notes: Vec<String>,
}

/// Usable hours.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Windows {
    /// Best first, at most four a job.
    pub lines: Vec<WindowLine>,
    /// Said if there is none.
    pub none: Option<String>,
}

/// Usable hours of one day for one job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WindowLine {
    /// "Lift".
    pub job: String,
    /// Blocks for which these are the hours.
    pub blocks: String,
    /// "Sat 14:00-17:30".
    pub when: String,
    /// "6 in 10"; the verdict's word with one forecast.
    pub odds: String,
    /// Whether it is near enough to count on.
    pub firm: bool,
    /// What holds it back, or "nothing".
    pub held_by: String,
}

/// The blocks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Blocks {
    /// Said first if nothing was told for three days.
    pub told: Option<String>,
    /// Every block, in the farm's order.
    pub lines: Vec<BlockLine>,
}

/// One block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockLine {
    /// Its name.
    pub block: String,
    /// What grows there.
    pub variety: String,
    /// "out 28 days", "nothing out".
    pub out: String,
    /// "16 Mar, 2 days either way", "not known".
    pub pick: String,
    /// The next job, one sentence each.
    pub next: Vec<String>,
}

/// Ties in the next 48 hours.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ties {
    /// One sentence instead of lines.
    pub note: Option<String>,
    /// One line a block with covers out.
    pub lines: Vec<TieLine>,
}

/// The ties of one block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TieLine {
    /// The block.
    pub block: String,
    /// "Wed 17:00"; "not known".
    pub when: String,
    /// "57 km/h"; "not known".
    pub gust: String,
    /// "48 to 70"; `None` with one forecast.
    pub could_be: Option<String>,
    /// "61".
    pub carry: String,
    /// "50 to 71" for weak and strong ties; `None` where the grower has pull-tested them.
    pub carry_range: Option<String>,
    /// "2 in 10"; `None` with one forecast.
    pub more: Option<String>,
}

/// The end of the letter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct End {
    /// When the next letter comes and whom to ring without it.
    pub next: String,
    /// Command that reports today's first job.
    pub report: String,
    /// Command that explains the letter.
    pub why: String,
    /// What comes before this letter.
    pub limits: String,
    /// Who the weather is from.
    pub credits: Vec<String>,
}

/// One recommended job as plain values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobFact {
    /// The block.
    pub block: BlockId,
    /// Rows.
    pub rows: Rows,
    /// The job.
    pub job: Job,
    /// When to begin.
    pub start: DateTime<Utc>,
    /// When the usable hours end.
    pub end: DateTime<Utc>,
    /// Latest start, where the job is put on the clock.
    pub latest_start: Option<DateTime<Utc>>,
    /// Hands.
    pub people: u32,
    /// How long it takes \[min\].
    pub minutes: u32,
    /// Verdict of the window.
    pub verdict: Verdict,
    /// Members in which it works.
    pub chance: Option<Chance>,
    /// Chance above which going pays, 0 to 1.
    pub threshold: f64,
    /// Whether it is near enough to count on.
    pub firm: bool,
    /// Gust at 10 m at which it stops \[m/s\].
    pub stops_at_gust_m_s: MetresPerSecond,
    /// What holds it back.
    pub reasons: Vec<Reason>,
    /// The same in words, for a calendar entry.
    pub words: String,
}

/// Writes the letter of one morning. Same inputs, same letter.
pub fn compose(inputs: &Inputs<'_>) -> Letter {
    morning::Morning::new(inputs).letter()
}

impl Letter {
    /// What tomorrow's letter compares itself with.
    pub fn digest(&self) -> &Digest {
        &self.digest
    }
}
