//! What a warning is about, by the words and numbers its issuer gives it.

use serde::{Deserialize, Serialize};

/// What a warning is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Lightning, and the gusts that come with it.
    Thunderstorm,
    /// Wind and gusts.
    Wind,
    /// Rain that floods.
    Rain,
    /// Heat.
    Heat,
    /// Weather in which fire spreads.
    Fire,
    /// Anything else: of no use for work on covers.
    Other,
}

impl Kind {
    /// How a sentence calls it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Thunderstorm => "thunderstorm",
            Self::Wind => "wind",
            Self::Rain => "rain",
            Self::Heat => "heat",
            Self::Fire => "fire",
            Self::Other => "other",
        }
    }
}

/// What an issuer says an event is.
#[derive(Debug, Clone, Copy, Default)]
pub struct Words<'a> {
    /// Name of the event.
    pub event: &'a str,
    /// Its headline.
    pub headline: &'a str,
    /// What is expected.
    pub description: &'a str,
    /// Value of the parameter `awareness_type`, such as "1; Wind".
    pub awareness: &'a str,
    /// Other names of the event: groups and codes of the issuer.
    pub groups: &'a [String],
}

/// Events of the US and Canadian services that are for the sea and for shores, in lower case.
const MARINE: [&str; 26] = [
    "small craft advisory",
    "gale warning",
    "gale watch",
    "storm warning",
    "storm watch",
    "hurricane force wind warning",
    "hurricane force wind watch",
    "special marine warning",
    "marine weather statement",
    "hazardous seas warning",
    "hazardous seas watch",
    "heavy freezing spray warning",
    "heavy freezing spray watch",
    "freezing spray advisory",
    "brisk wind advisory",
    "high surf warning",
    "high surf advisory",
    "rip current statement",
    "beach hazards statement",
    "low water advisory",
    "coastal flood warning",
    "coastal flood advisory",
    "coastal flood watch",
    "coastal flood statement",
    "storm surge warning",
    "storm surge watch",
];

/// Names that hold a word of another kind.
const NEITHER: [&str; 12] = [
    "wind chill",
    "winter storm",
    "ice storm",
    "snow",
    "schnee",
    "blizzard",
    "storm surge",
    "geomagnetic",
    "freezing rain",
    "fireworks",
    "avalanche",
    "tsunami",
];

/// Stems that may stand anywhere in a word, in lower case. Words of the trade in the languages of the issuers.
#[rustfmt::skip]
const STEMS: [(Kind, &[&str]); 5] = [
    (Kind::Thunderstorm, &["thunder", "lightning", "gewitter", "orage", "tormenta", "temporal", "trovoada", "onweer",
        "torden", "åska", "åskväder", "ukkos", "grmljav", "burz", "bouřk", "búrk", "zivatar", "furtun", "nevihte", "eldingar"]),
    (Kind::Fire, &["red flag", "fire weather", "fire danger", "forest fire", "wildfire", "waldbrand", "skogbrann", "skogsbrand",
        "incend", "natuurbrand", "feux de", "feu de for", "požar", "pozar", "gräsbrand", "metsäpalo"]),
    (Kind::Heat, &["heat", "hitze", "wärmebel", "canicule", "chaleur", "calor", "altas temperaturas", "caldo", "hitte", "varme",
        "hetta", "höga temperatur", "vrućin", "upał", "vedra", "horúčav", "high-temp", "high temperature"]),
    (Kind::Wind, &["windstorm", "high wind", "gust", "tornado", "hurricane", "typhoon", "tropical storm", "cyclone", "dust storm",
        "böen", "sturm", "orkan", "viento", "rachas", "vento", "raffiche", "kuling", "vindkast", "vjetar", "viharos", "vichur", "stormby"]),
    (Kind::Rain, &["rain", "flash flood", "starkregen", "dauerregen", "pluie", "lluvia", "pioggia", "chuva", "regen", "nederbör",
        "nedbør", "skyfall", "kiša", "opady", "déšť", "precipit"]),
];

/// Stems that only a word may begin with, because they hide in others.
const BEGINNINGS: [(Kind, &[&str]); 3] = [
    (
        Kind::Wind,
        &[
            "wind", "winds", "vent", "vind", "gale", "gales", "storm", "vindur", "blowing",
        ],
    ),
    (Kind::Rain, &["regn", "rigning"]),
    (Kind::Fire, &["fire"]),
];

impl Words<'_> {
    /// What the event is.
    pub fn kind(&self) -> Kind {
        if let Some(kind) = awareness(self.awareness) {
            return kind;
        }
        let event = self.event.to_lowercase();
        let mut found = of_text(&event);
        for group in self.groups {
            found = found.or_else(|| of_text(&group.to_lowercase()));
        }
        found = found.or_else(|| of_text(&self.headline.to_lowercase()));
        // A statement of no name of its own: thunderstorm gusts are told this way.
        if found.is_none() && (event.contains("special weather") || event.contains("severe weather")) {
            found = of_text(&self.description.to_lowercase());
        }
        found.unwrap_or(Kind::Other)
    }

    /// Whether the event is for the sea or a shore.
    pub fn is_marine(&self) -> bool {
        let event = self.event.trim().to_lowercase();
        MARINE.contains(&event.as_str())
            || event.contains("marine")
            || event.contains("at sea")
            || awareness_number(self.awareness) == Some(7)
    }
}

fn awareness_number(written: &str) -> Option<u32> {
    written.split(';').next()?.trim().parse().ok()
}

/// The numbered types of the European warnings.
fn awareness(written: &str) -> Option<Kind> {
    Some(match awareness_number(written)? {
        1 => Kind::Wind,
        3 => Kind::Thunderstorm,
        5 => Kind::Heat,
        8 => Kind::Fire,
        // Rain, and rain with flood.
        10 | 13 => Kind::Rain,
        _ => Kind::Other,
    })
}

/// The kind a lower-case text names; other kinds of weather are named first.
fn of_text(text: &str) -> Option<Kind> {
    let stem = STEMS
        .iter()
        .find(|(_, stems)| stems.iter().any(|stem| text.contains(stem)));
    let neither = NEITHER.iter().any(|name| text.contains(name));
    match stem {
        Some((kind @ (Kind::Thunderstorm | Kind::Fire | Kind::Heat), _)) => return Some(*kind),
        _ if neither => return None,
        Some((kind, _)) => return Some(*kind),
        None => {}
    }
    let mut words = text.split(|sign: char| !sign.is_alphanumeric());
    words.find_map(|word| {
        let begins = |(_, stems): &&(Kind, &[&str])| stems.contains(&word);
        BEGINNINGS.iter().find(begins).map(|(kind, _)| *kind)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(event: &str) -> Kind {
        Words {
            event,
            ..Words::default()
        }
        .kind()
    }

    #[test]
    fn events_of_several_issuers_are_of_the_kind_a_grower_would_say() {
        for (event, expected) in [
            ("Wind Advisory", Kind::Wind),
            ("High Wind Watch", Kind::Wind),
            ("Severe Thunderstorm Warning", Kind::Thunderstorm),
            ("tornado warning", Kind::Wind),
            ("Dust Storm Warning", Kind::Wind),
            ("Red Flag Warning", Kind::Fire),
            ("Fire Weather Watch", Kind::Fire),
            ("Heat Advisory", Kind::Heat),
            ("extreme heat watch", Kind::Heat),
            ("Flash Flood Warning", Kind::Rain),
            ("Wind Chill Advisory", Kind::Other),
            ("Winter Storm Watch", Kind::Other),
            ("Ice Storm Warning", Kind::Other),
            ("Yellow snow warning", Kind::Other),
            ("air quality alert", Kind::Other),
            ("Dense Fog Advisory", Kind::Other),
            ("STARKREGEN", Kind::Rain),
            ("SCHWERES GEWITTER mit ORKANBÖEN", Kind::Thunderstorm),
            ("WINDBÖEN", Kind::Wind),
            ("STURMBÖEN", Kind::Wind),
            ("Žuto upozorenje za vjetar", Kind::Wind),
            ("Veðurviðvörun: Vindur", Kind::Wind),
            ("gale", Kind::Wind),
            ("Avviso di vento forte", Kind::Wind),
            ("thunderstorm", Kind::Thunderstorm),
        ] {
            assert_eq!(kind(event), expected, "{event}");
        }
    }

    #[test]
    fn the_number_of_the_european_warnings_is_believed_before_the_words() {
        let words = Words {
            event: "Orange warning",
            awareness: "3; Thunderstorm",
            ..Words::default()
        };
        assert_eq!(words.kind(), Kind::Thunderstorm);
        let coast = Words {
            event: "Wind",
            awareness: "7; coastalevent",
            ..Words::default()
        };
        assert!(coast.is_marine());
    }

    #[test]
    fn a_statement_without_a_name_is_known_by_what_it_says() {
        let words = Words {
            event: "Special Weather Statement",
            description: "A line of thunderstorms with gusts to 50 mph.",
            ..Words::default()
        };
        assert_eq!(words.kind(), Kind::Thunderstorm);
    }

    #[test]
    fn warnings_for_ships_are_marine_and_those_for_fields_are_not() {
        for (event, marine) in [
            ("Gale Warning", true),
            ("Small Craft Advisory", true),
            ("Special Marine Warning", true),
            ("Wind Advisory", false),
            ("Storm", false),
        ] {
            let words = Words {
                event,
                ..Words::default()
            };
            assert_eq!(words.is_marine(), marine, "{event}");
        }
    }
}
