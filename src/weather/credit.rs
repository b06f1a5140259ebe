//! Who the data come from, and the line their licence asks for.

use serde::{Deserialize, Serialize};

/// Credit to a service.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Credit {
    /// Short name in status and log.
    pub service: String,
    /// The line printed in letters, licence included.
    pub line: String,
    /// Where the licence stands.
    pub link: String,
}

impl Credit {
    /// For weather that nobody forecast, such as the demo's.
    pub fn invented() -> Self {
        Self {
            service: "Demo".to_owned(),
            line: "Invented weather for the demo, not a forecast".to_owned(),
            link: String::new(),
        }
    }
}
