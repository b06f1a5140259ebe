//! Weather symbols: words joined into one, such as `heavyrainshowersandthunder_day`.
//!
//! Source: the service's list of symbol codes.

/// What a symbol says about an hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen {
    pub(super) thunder: bool,
    pub(super) fog: bool,
    pub(super) snow: bool,
}

impl Seen {
    /// What a symbol says; `None` for a word that is no symbol, which says nothing.
    pub(super) fn of(symbol: &str) -> Option<Self> {
        let word = symbol.split('_').next().unwrap_or_default();
        let dry = ["clearsky", "fair", "partlycloudy", "cloudy", "fog"].contains(&word);
        let falls = ["rain", "sleet", "snow"].iter().any(|what| word.contains(what));
        (dry || falls).then(|| Self {
            thunder: word.contains("thunder"),
            fog: word == "fog",
            snow: word.contains("snow") || word.contains("sleet"),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_symbol_tells_thunder_fog_and_snow_and_an_unknown_word_tells_nothing() {
        let seen = |symbol| Seen::of(symbol).map(|seen| (seen.thunder, seen.fog, seen.snow));
        assert_eq!(seen("heavyrainshowersandthunder_day"), Some((true, false, false)));
        // The service spells two of its symbols with a double s.
        assert_eq!(seen("lightssnowshowersandthunder_night"), Some((true, false, true)));
        assert_eq!(seen("fog"), Some((false, true, false)));
        assert_eq!(seen("clearsky_polartwilight"), Some((false, false, false)));
        assert_eq!(seen("frogs"), None);
        assert_eq!(seen(""), None);
    }
}
