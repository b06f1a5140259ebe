//! A station's own task: it looks or listens, and hands on what came in. It never ends by itself.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};
use tokio::sync::mpsc;

use super::broker::{Heard, Line};
use super::folder::Watch;
use super::{Batch, Broker, Message, Station, Way};

/// Between two looks into a folder.
const LOOK: Duration = Duration::from_secs(30);
/// Longest a look may take; a folder on a line that hangs is told, and waited for.
const LOOK_LIMIT: Duration = Duration::from_secs(20);
/// First and longest wait after a line broke.
const FIRST_WAIT: Duration = Duration::from_secs(1);
const LONGEST_WAIT: Duration = Duration::from_secs(300);
/// A line that stood for this long begins again with the first wait.
const STOOD: Duration = Duration::from_secs(60);

/// News of a station.
#[derive(Debug, Clone, PartialEq)]
pub struct News {
    /// Its name.
    pub station: String,
    /// What came in; may be empty.
    pub batch: Batch,
    /// What is wrong now, if anything.
    pub fault: Option<String>,
}

/// Looks into a station's folder or listens to its broker, until the receiver is gone.
pub async fn listen<C>(station: Arc<Station>, clock: C, news: mpsc::Sender<News>)
where
    C: Fn() -> DateTime<Utc> + Send + 'static,
{
    match &station.way {
        Way::Csv { drop, .. } | Way::Json { drop, .. } | Way::Metar { drop, .. } => {
            look(&station, Watch::new(drop.clone()), clock, &news).await;
        }
        Way::Mqtt { broker, message } => hear(&station.name, broker, message, clock, &news).await,
    }
}

async fn look<C: Fn() -> DateTime<Utc>>(station: &Arc<Station>, watch: Watch, clock: C, news: &mpsc::Sender<News>) {
    let mut idle = Some(watch);
    let mut at_work: Option<tokio::task::JoinHandle<(Watch, Result<Batch, String>)>> = None;
    loop {
        let now = clock();
        let mut task = match (idle.take(), at_work.take()) {
            (Some(mut watch), _) => {
                let station = Arc::clone(station);
                tokio::task::spawn_blocking(move || {
                    let found = watch.poll(&station.way, now);
                    (watch, found)
                })
            }
            (None, Some(task)) => task,
            (None, None) => return,
        };
        let (batch, fault) = match tokio::time::timeout(LOOK_LIMIT, &mut task).await {
            Ok(Ok((watch, found))) => {
                idle = Some(watch);
                match found {
                    Ok(batch) => (batch, None),
                    Err(fault) => (Batch::default(), Some(fault)),
                }
            }
            // A look that broke off forgets what it had seen; the next one reads everything again.
            Ok(Err(_)) => {
                idle = match &station.way {
                    Way::Csv { drop, .. } | Way::Json { drop, .. } | Way::Metar { drop, .. } => {
                        Some(Watch::new(drop.clone()))
                    }
                    Way::Mqtt { .. } => return,
                };
                (Batch::default(), Some("reading its files broke off".to_owned()))
            }
            Err(_) => {
                at_work = Some(task);
                let fault = format!("its folder does not answer within {} s", LOOK_LIMIT.as_secs());
                (Batch::default(), Some(fault))
            }
        };
        if !tell(news, &station.name, batch, fault).await {
            return;
        }
        tokio::time::sleep(LOOK).await;
    }
}

async fn hear<C: Fn() -> DateTime<Utc>>(
    name: &str,
    broker: &Broker,
    message: &Message,
    clock: C,
    news: &mpsc::Sender<News>,
) {
    let mut wait = FIRST_WAIT;
    loop {
        let began = tokio::time::Instant::now();
        let fault = match Line::new(name, broker) {
            Err(fault) => fault,
            Ok(mut line) => loop {
                match line.hear(broker, message, &clock).await {
                    Ok(Heard::Nothing) => {}
                    Ok(Heard::Connected) => {
                        if !tell(news, name, Batch::default(), None).await {
                            return;
                        }
                    }
                    Ok(Heard::Batch(batch)) => {
                        if !tell(news, name, batch, None).await {
                            return;
                        }
                    }
                    Err(fault) => break fault,
                }
            },
        };
        if began.elapsed() >= STOOD {
            wait = FIRST_WAIT;
        }
        if !tell(news, name, Batch::default(), Some(fault)).await {
            return;
        }
        // Full jitter: many farms behind one broker do not come back at once.
        tokio::time::sleep(wait.mul_f64(0.5 + 0.5 * fastrand::f64())).await;
        wait = (wait * 2).min(LONGEST_WAIT);
    }
}

/// Whether somebody still wants to know.
async fn tell(news: &mpsc::Sender<News>, station: &str, batch: Batch, fault: Option<String>) -> bool {
    let told = News {
        station: station.to_owned(),
        batch,
        fault,
    };
    news.send(told).await.is_ok()
}
