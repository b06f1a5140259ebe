//! What gusts the ties of each block carry, and what would raise that.
//!
//! Assumed: a tie whose strength nobody has tested holds 100 to 200 N. The last tie of a piece has cover on one side
//! only and holds half a spacing.

use super::report::Report;
use crate::alley::Alley;
use crate::farm::Farm;
use crate::farm::block::Block;
use crate::physics::tie_load::{UNTESTED_N, carries};
use crate::units::{DisplayUnits, Metres, MetresPerSecond};

/// Ties that carry less are worth a line: 90 km/h, about the strongest gust of an ordinary year inland.
const WORTH_A_LINE: MetresPerSecond = MetresPerSecond(25.0);
/// Ties are not set closer than this \[m\].
const CLOSEST_M: f64 = 1.0;
/// How much lower and higher a tie is thought \[m\].
const STEP_M: f64 = 0.10;
/// Newtons of a kilogram and of a pound on a scale (NIST SP 811, appendix B).
const SCALE_N: (f64, f64) = (9.806_65, 4.448_222);

/// Blocks whose ties are the same.
struct Alike<'a> {
    names: Vec<&'a str>,
    alley: &'a Alley,
    tested: bool,
    carry: f64,
}

/// A line for each kind of block that may matter, and what could be done about the weakest.
pub(super) fn ties(out: &mut Report, farm: &Farm) {
    let mut kinds = alike(farm);
    kinds.sort_by(|a, b| a.carry.total_cmp(&b.carry));
    out.line("Ties, and the gusts they carry. Estimate for warning, not an engineering check.");
    let words = Words(farm.site.units);
    let worth = |place: usize, kind: &Alike<'_>| place == 0 || kind.carry < WORTH_A_LINE.0;
    for (place, kind) in kinds.iter().enumerate() {
        if worth(place, kind) {
            out.wrapped(&format!("  {}: {}.", kind.names.join(", "), words.kind(kind)));
        }
    }
    if kinds.iter().enumerate().any(|(place, kind)| !worth(place, kind)) {
        out.line(&format!("  The others carry {} or more.", words.wind(WORTH_A_LINE.0)));
    }
    if let Some(weakest) = kinds.first().filter(|kind| kind.carry < WORTH_A_LINE.0) {
        words.what_if(weakest).iter().for_each(|line| out.wrapped(line));
    }
    if kinds.iter().any(|kind| !kind.tested) {
        let (low, high) = UNTESTED_N;
        out.wrapped(&format!(
            "  Where a range stands, a tie was taken to hold {low:.0} to {high:.0} N ({}). Pull-test yours and set \
             tie_allow_n.",
            words.scale(low, high),
        ));
    }
}

fn alike(farm: &Farm) -> Vec<Alike<'_>> {
    let mut kinds: Vec<Alike<'_>> = Vec::new();
    for block in &farm.blocks {
        let kind = of(block);
        let same = kinds.iter_mut().find(|other| {
            other.tested == kind.tested
                && (other.carry - kind.carry).abs() < 1e-9
                && (other.alley.tie_spacing_m, other.alley.tie_height_m)
                    == (kind.alley.tie_spacing_m, kind.alley.tie_height_m)
        });
        match same {
            Some(other) => other.names.extend(kind.names),
            None => kinds.push(kind),
        }
    }
    kinds
}

fn of(block: &Block) -> Alike<'_> {
    Alike {
        names: vec![block.id.0.as_str()],
        alley: &block.alley,
        tested: block.tie_tested,
        carry: carries(&block.alley),
    }
}

/// Numbers in the farm's units.
struct Words(DisplayUnits);

impl Words {
    fn kind(&self, kind: &Alike<'_>) -> String {
        let gusts = |alley: Alley| self.gusts(alley, kind.tested);
        let now = gusts(*kind.alley);
        let by = if kind.tested {
            format!(" by your pull test of {:.0} N", kind.alley.tie_allow_n)
        } else {
            String::new()
        };
        let weak = kind.carry < WORTH_A_LINE.0;
        let closer = self.closer(kind.alley).filter(|_| weak).map(|(spacing, closer)| {
            format!(
                "; ties every {spacing} instead of {} raise that to {}",
                self.metres(kind.alley.tie_spacing_m),
                gusts(closer)
            )
        });
        format!("{now} {}{by}{}", self.0.wind_sign(), closer.unwrap_or_default())
    }

    /// What else would change the weakest ties, a line each.
    fn what_if(&self, kind: &Alike<'_>) -> Vec<String> {
        let alley = *kind.alley;
        let gusts = |alley: Alley| self.gusts(alley, kind.tested);
        let now = gusts(alley);
        let at = |height: f64| Alley {
            tie_height_m: height,
            ..alley
        };
        let (low, high) = (alley.tie_height_m - STEP_M, alley.tie_height_m + STEP_M);
        let step = match self.0 {
            DisplayUnits::Metric => "10 cm",
            DisplayUnits::Imperial => "4 in",
        };
        let mut lines = vec![format!("  What would change that on {}:", kind.names.join(", "))];
        if low >= 0.0 {
            lines.push(format!(
                "    tied {step} lower: from {now} to {}, but the underside dries later;",
                gusts(at(low))
            ));
        }
        lines.push(format!(
            "    tied {step} higher: from {now} to {}, but it dries sooner;",
            gusts(at(high))
        ));
        let ends = |share: f64| {
            gusts(Alley {
                tie_spacing_m: alley.tie_spacing_m * share,
                ..alley
            })
        };
        lines.push(format!(
            "    a second tie at each end: the end, which holds half a spacing, from {} to {}; between them still {now}.",
            ends(0.5),
            ends(0.25)
        ));
        lines
    }

    /// Two thirds of the spacing to the half metre (or whole foot), where that is not too close to be worth the work.
    fn closer(&self, alley: &Alley) -> Option<(String, Alley)> {
        let two_thirds = alley.tie_spacing_m * 2.0 / 3.0;
        let metres = match self.0 {
            DisplayUnits::Metric => (two_thirds * 2.0).round() / 2.0,
            DisplayUnits::Imperial => self.0.length(Metres(two_thirds)).round() / self.0.length(Metres(1.0)),
        };
        (metres >= CLOSEST_M && metres < alley.tie_spacing_m).then(|| {
            let closer = Alley {
                tie_spacing_m: metres,
                ..*alley
            };
            (self.metres(metres), closer)
        })
    }

    /// "52-73" for untested ties, "63" after a pull test.
    fn gusts(&self, alley: Alley, tested: bool) -> String {
        let shown = |alley: &Alley| format!("{:.0}", self.0.wind(MetresPerSecond(carries(alley))));
        if tested {
            return shown(&alley);
        }
        let [low, high] = [UNTESTED_N.0, UNTESTED_N.1].map(|tie_allow_n| shown(&Alley { tie_allow_n, ..alley }));
        format!("{low}-{high}")
    }

    fn wind(&self, speed_m_s: f64) -> String {
        format!("{:.0} {}", self.0.wind(MetresPerSecond(speed_m_s)), self.0.wind_sign())
    }

    /// "6 m", "4.5 m", "20 ft".
    fn metres(&self, metres: f64) -> String {
        match self.0 {
            DisplayUnits::Metric => format!("{metres} m"),
            DisplayUnits::Imperial => format!("{:.0} ft", self.0.length(Metres(metres))),
        }
    }

    /// What a luggage scale shows.
    fn scale(&self, low_n: f64, high_n: f64) -> String {
        let (newtons, sign) = match self.0 {
            DisplayUnits::Metric => (SCALE_N.0, "kg"),
            DisplayUnits::Imperial => (SCALE_N.1, "lb"),
        };
        format!(
            "{:.0} to {:.0} {sign} on a luggage scale",
            low_n / newtons,
            high_n / newtons
        )
    }
}
