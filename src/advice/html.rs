//! The letter as HTML for mail: all style inline, complete without its one style block, no layout tables.

use askama::Template;

use super::letter::{Letter, verdict_word};
use super::words;
use crate::farm::block::Rows;
use crate::workability::Verdict;

const SANS: &str = "font-family:-apple-system,'Segoe UI',Roboto,Helvetica,Arial,sans-serif;";
const SERIF: &str = "font-family:Georgia,'Times New Roman',serif;";
const ITEM: &str = "margin:0;padding-left:66px;text-indent:-66px;font-size:17px;line-height:24px;font-weight:bold;";
const NOTE: &str = "margin:0;padding-left:66px;font-size:15px;line-height:22px;color:#62584D;";
const PROSE: &str = "margin:8px 0 0;font-size:16px;line-height:23px;";
const SMALL: &str = "margin:4px 0 0;font-size:13px;line-height:19px;color:#62584D;";
const TABLE: &str = "border-collapse:collapse;width:100%;font-size:14px;line-height:20px;";
const CAPTION: &str = "text-align:left;font-size:13px;line-height:19px;color:#62584D;padding:0 0 6px;";
const TH: &str = "text-align:left;vertical-align:bottom;padding:4px 6px 4px 0;border-bottom:1px solid #2A2622;";
const TD: &str =
    "text-align:left;vertical-align:top;padding:5px 6px 5px 0;border-bottom:1px solid #D8CFBF;font-weight:normal;";

/// Lays the letter out as HTML. `chart_cid` and `season_cid` are the Content-IDs of the pictures, where the mail
/// carries them.
///
/// # Errors
/// Only if memory for the text cannot be had.
pub fn render(letter: &Letter, chart_cid: Option<&str>, season_cid: Option<&str>) -> Result<String, askama::Error> {
    Page {
        letter,
        chart_cid,
        season_cid,
        css: Css,
    }
    .render()
}

/// The verdict's box: a border in every case, so that it stays one when a mail program turns colours round.
fn label_style(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Go => "background:#2A2622;color:#FBF8F1;border:2px solid #2A2622;",
        Verdict::Maybe => "background:#FBF8F1;color:#2A2622;border:2px solid #2A2622;",
        Verdict::No => {
            "background:#FBF8F1;color:#2A2622;border-top:2px solid #2A2622;border-bottom:2px solid #2A2622;\
             border-left:0;border-right:0;"
        }
        Verdict::Unknown => "background:#FBF8F1;color:#2A2622;border:2px dotted #2A2622;",
    }
}

/// Typography of the web: dashes between numbers, and chances, units and clock times that do not break.
fn fine(text: &str) -> String {
    let signs: Vec<char> = text.chars().collect();
    let digit = |place: Option<usize>| {
        place
            .and_then(|place| signs.get(place))
            .is_some_and(char::is_ascii_digit)
    };
    let mut out = String::with_capacity(text.len());
    for (place, sign) in signs.iter().enumerate() {
        let between = digit(place.checked_sub(1)) && digit(Some(place + 1));
        out.push(if *sign == '-' && between { '–' } else { *sign });
    }
    for (plain, tied) in [
        (" in 10", "\u{a0}in\u{a0}10"),
        ("under 1 in 20", "under\u{a0}1\u{a0}in\u{a0}20"),
        (" km/h", "\u{a0}km/h"),
        (" mph", "\u{a0}mph"),
        (" MJ/m2", "\u{a0}MJ/m²"),
        (" kg", "\u{a0}kg"),
        (" mm", "\u{a0}mm"),
    ] {
        out = out.replace(plain, tied);
    }
    out.replace(".5 hours", "½ hours")
}

/// Styles the template asks for by name.
struct Css;

impl Css {
    fn page(&self) -> String {
        format!(
            "max-width:600px;margin:0 auto;padding:16px 16px 24px;background:#FBF8F1;color:#2A2622;{SANS}font-size:16px;line-height:23px;"
        )
    }

    fn head(&self) -> &'static str {
        "margin:0;font-size:14px;line-height:20px;color:#62584D;"
    }

    fn h1(&self) -> String {
        format!("margin:14px 0 8px;{SERIF}font-size:29px;line-height:35px;font-weight:bold;color:#2A2622;")
    }

    fn h2(&self) -> String {
        format!(
            "margin:26px 0 10px;padding-top:10px;border-top:2px solid #2A2622;{SERIF}font-size:20px;line-height:26px;\
             font-weight:bold;color:#2A2622;"
        )
    }

    fn label(&self, verdict: &Verdict) -> String {
        format!(
            "display:inline-block;padding:1px 9px;margin-right:8px;font-weight:bold;letter-spacing:1px;{}",
            label_style(*verdict)
        )
    }

    fn item(&self) -> &'static str {
        ITEM
    }

    fn note(&self) -> &'static str {
        NOTE
    }

    fn time(&self) -> &'static str {
        "display:inline-block;width:66px;text-indent:0;"
    }

    fn prose(&self) -> &'static str {
        PROSE
    }

    fn small(&self) -> &'static str {
        SMALL
    }

    fn table(&self) -> &'static str {
        TABLE
    }

    fn caption(&self) -> &'static str {
        CAPTION
    }

    fn th(&self) -> &'static str {
        TH
    }

    fn td(&self) -> &'static str {
        TD
    }
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="supported-color-schemes" content="light dark">
<title>{{ letter.subject }}</title>
<style>
@media (max-width:480px){.page{padding:12px 10px 20px !important}h1{font-size:25px !important;line-height:31px !important}}
@media (prefers-color-scheme:dark){.page,body{background:#1E1B18 !important;color:#F1EBDF !important}h1,h2,.ink{color:#F1EBDF !important}h2,th{border-color:#F1EBDF !important}.bark{color:#B9AD9C !important}td,.row{border-color:#4A433B !important}.word{background:#1E1B18 !important;color:#F1EBDF !important;border-color:#F1EBDF !important}.go{background:#F1EBDF !important;color:#1E1B18 !important}}
</style>
</head>
<body style="margin:0;padding:0;background:#FBF8F1;color:#2A2622;">
<div class="page" style="{{ css.page() }}">
<p class="bark" style="{{ css.head() }}"><b>Issued</b> {{ letter.head.issued }}</p>
<p class="bark" style="{{ css.head() }}"><b>Good until</b> {{ letter.head.good_until }}</p>
<p class="bark" style="{{ css.head() }}"><b>Forecast</b> {% if letter.head.stale %}<b>{{ letter.head.forecast|fine }}</b>{% else %}{{ letter.head.forecast|fine }}{% endif %}</p>
{%- for remark in letter.head.remarks %}
<p class="bark" style="{{ css.head() }}">{{ remark|fine }}</p>
{%- endfor %}
<h1 style="{{ css.h1() }}">{{ letter.headline.sentence|cap|fine }}</h1>
<p style="{{ css.prose() }}"><span class="word{% if self.go() %} go{% endif %}" style="{{ css.label(letter.verdict) }}">{{ self.word() }}</span>
{%- if let Some(look) = letter.headline.look %} {{ look|cap|fine }}.{% endif %}
{%- if let Some(chance) = letter.headline.chance %} {{ chance|fine }}.{% endif %}</p>
{%- if letter.partly_unknown %}
<p style="{{ css.prose() }}"><b>Partly unknown:</b> some working hours of today are not in the forecast.</p>
{%- endif %}
{%- for sentence in letter.headline.because %}
<p style="{{ css.prose() }}">{{ sentence|fine }}</p>
{%- endfor %}
<h2 style="{{ css.h2() }}">Today</h2>
{% call items(letter.today.items) %}{% endcall %}
{%- if let Some(note) = letter.today.note %}
<p style="{{ css.prose() }}">{{ note|fine }}</p>
{%- endif %}
{%- if let Some(turns) = letter.turns %}
<p style="{{ css.prose() }}"><b>Turns to NO</b> if {{ turns.turns|fine }}. Margin now: {{ turns.margin|fine }}.</p>
{%- endif %}
{%- if let Some(changed) = letter.since_yesterday %}
<p class="bark" style="{{ css.small() }}">Since yesterday: {{ changed|fine }}</p>
{%- endif %}
{%- if !letter.warnings.is_empty() %}
<h2 style="{{ css.h2() }}">Official warnings</h2>
{%- for warning in letter.warnings %}
<p style="{{ css.prose() }}"><b>{{ warning.issuer }}, {{ warning.event }}: {{ warning.when|fine }}.</b>{% if !warning.quote.is_empty() %}<br>&quot;{{ warning.quote }}&quot;{% endif %}</p>
<p class="bark" style="{{ css.small() }}">{% for note in warning.notes %}{{ note|fine }} {% endfor %}</p>
{%- endfor %}
<p class="bark" style="{{ css.small() }}">What the issuer says now counts, not this letter.</p>
{%- endif %}
{%- if let Some(ahead) = letter.ahead %}
<h2 style="{{ css.h2() }}">{{ ahead.heading }}</h2>
{% call items(ahead.items) %}{% endcall %}
{%- endif %}
{%- for part in self.parts() %}
<h2 style="{{ css.h2() }}">{{ part.heading }}</h2>
{%- for line in part.lines.iter().chain(part.last.iter()) %}
<div style="margin:0 0 10px;">
{%- if line.day.is_empty() %}
<p style="margin:0;font-size:17px;line-height:24px;font-weight:bold;">{{ line.text|cap|fine }}</p>
{%- else %}
<p style="{{ css.item() }}"><span style="{{ css.time() }}">{{ line.day }}</span>{{ line.text|cap|fine }}</p>
{%- endif %}
{%- if !line.notes.is_empty() %}
<p class="bark" style="{{ css.note() }}">{% for note in line.notes %}{{ note|fine }} {% endfor %}</p>
{%- endif %}
</div>
{%- endfor %}
{%- endfor %}
{%- if let Some(chart) = letter.chart %}
{%- if let Some(cid) = chart_cid %}
<p style="margin:26px 0 0;"><img src="cid:{{ cid }}" alt="{{ chart.alt }}" width="440" style="display:block;width:100%;max-width:440px;height:auto;margin:0 auto;border:0;"></p>
{%- else %}
<h2 style="{{ css.h2() }}">Ten days</h2>
{%- for day in chart.days_said() %}
<p style="margin:0;font-size:15px;line-height:22px;">{{ day|fine }}</p>
{%- endfor %}
{%- endif %}
{%- for remark in chart.remarks %}
<p class="bark" style="{{ css.small() }}">{{ remark|cap }}.</p>
{%- endfor %}
{%- endif %}
{%- if let Some(windows) = letter.windows %}
<h2 style="{{ css.h2() }}">Windows, best first</h2>
{%- if let Some(none) = windows.none %}
<p style="{{ css.prose() }}">{{ none }}</p>
{%- else %}
<table style="{{ css.table() }}">
<caption class="bark" style="{{ css.caption() }}">Usable hours, with the chance that the weather allows them.</caption>
<tr><th scope="col" style="{{ css.th() }}">Window</th><th scope="col" style="{{ css.th() }}">Chance</th><th scope="col" style="{{ css.th() }}">Held back by</th></tr>
{%- for line in windows.lines %}
<tr><th scope="row" class="row" style="{{ css.td() }}"><b>{{ line.job }} {{ line.when|fine }}</b><br><span class="bark" style="color:#62584D;">{{ line.blocks }}{% if !line.firm %}, not firm{% endif %}</span></th><td style="{{ css.td() }}">{{ line.odds|fine }}</td><td style="{{ css.td() }}">{{ line.held_by|fine }}</td></tr>
{%- endfor %}
</table>
{%- endif %}
{%- endif %}
<h2 style="{{ css.h2() }}">Blocks</h2>
{%- if let Some(told) = letter.blocks.told %}
<p style="{{ css.prose() }}">{{ told }}</p>
{%- endif %}
<table style="{{ css.table() }}">
<caption class="bark" style="{{ css.caption() }}">What lies out, what comes next, when picking begins.</caption>
<tr><th scope="col" style="{{ css.th() }}">Block</th><th scope="col" style="{{ css.th() }}">So far</th><th scope="col" style="{{ css.th() }}">Next</th><th scope="col" style="{{ css.th() }}">First pick</th></tr>
{%- for line in letter.blocks.lines %}
<tr><th scope="row" class="row" style="{{ css.td() }}"><b>{{ line.block }}</b><br><span class="bark" style="color:#62584D;">{{ line.variety }}</span></th><td style="{{ css.td() }}">{{ line.out|cap|fine }}</td><td style="{{ css.td() }}">{% for next in line.next %}{{ next|fine }} {% endfor %}</td><td style="{{ css.td() }}">{{ line.pick|fine }}</td></tr>
{%- endfor %}
</table>
{%- if let Some(season) = letter.season %}
<h2 style="{{ css.h2() }}">Plan to harvest</h2>
{%- if let Some(cid) = season_cid %}
<p style="margin:0 0 12px;"><img src="cid:{{ cid }}" alt="{{ season.alt() }}" width="568" style="display:block;width:100%;max-width:568px;height:auto;margin:0 auto;border:0;"></p>
{%- endif %}
<table style="{{ css.table() }}">
<caption class="bark" style="{{ css.caption() }}">Blocks that share rolls stand together. Days to come are a plan, no promise.</caption>
<tr><th scope="col" style="{{ css.th() }}">Block</th><th scope="col" style="{{ css.th() }}">Cover</th><th scope="col" style="{{ css.th() }}">Lift</th><th scope="col" style="{{ css.th() }}">Pick</th></tr>
{%- for line in season.lines %}
<tr><th scope="row" class="row" style="{{ css.td() }}"><b>{{ line.block }}</b>{% if let Some(rows) = line.rows %}<br>{{ self.rows(rows)|fine }}{% endif %}</th><td style="{{ css.td() }}">{{ line.cover|cap|fine }}</td><td style="{{ css.td() }}">{{ line.lift|cap|fine }}</td><td style="{{ css.td() }}">{{ line.pick|fine }}</td></tr>
{%- endfor %}
</table>
{%- for change in season.changes %}
<p class="bark" style="{{ css.small() }}">{{ change|fine }}</p>
{%- endfor %}
{%- if let Some(note) = season.note %}
<p class="bark" style="{{ css.small() }}">{{ note }}</p>
{%- endif %}
{%- endif %}
{%- if let Some(ties) = letter.ties %}
<h2 style="{{ css.h2() }}">Ties, next 48 hours</h2>
{%- if let Some(note) = ties.note %}
<p style="{{ css.prose() }}">{{ note }}</p>
<p class="bark" style="{{ css.small() }}">Estimate for warning, not an engineering check.</p>
{%- else %}
<table style="{{ css.table() }}">
<caption class="bark" style="{{ css.caption() }}">Estimate for warning, not an engineering check. Gusts at 10 m in the worst hour{% if self.spread() %}; could be: 8 of 10 runs{% endif %}. Carry: below it weak to strong ties, until pull-tested.</caption>
<tr><th scope="col" style="{{ css.th() }}">Block</th><th scope="col" style="{{ css.th() }}">Worst</th><th scope="col" style="{{ css.th() }}">Gust</th><th scope="col" style="{{ css.th() }}">Carry</th>{% if self.spread() %}<th scope="col" style="{{ css.th() }}">More</th>{% endif %}</tr>
{%- for line in ties.lines %}
<tr><th scope="row" class="row" style="{{ css.td() }}"><b>{{ line.block }}</b></th><td style="{{ css.td() }}">{{ line.when }}</td><td style="{{ css.td() }}">{{ line.gust|fine }}{% if let Some(could) = line.could_be %}<br>{{ could|fine }}{% endif %}</td><td style="{{ css.td() }}">{{ line.carry }}<br>{% if let Some(range) = line.carry_range %}{{ range|fine }}{% else %}by your pull test{% endif %}</td>{% if self.spread() %}<td style="{{ css.td() }}">{% if let Some(more) = line.more %}{{ more|fine }}{% else %}not known{% endif %}</td>{% endif %}</tr>
{%- endfor %}
</table>
{%- endif %}
{%- endif %}
{%- if !letter.rolls.is_empty() %}
<h2 style="{{ css.h2() }}">Rolls to dry</h2>
{%- for roll in letter.rolls %}
<p style="{{ css.prose() }}">{{ roll|fine }}</p>
{%- endfor %}
{%- endif %}
{%- if !letter.care.is_empty() %}
<h2 style="{{ css.h2() }}">Care today</h2>
{%- for care in letter.care %}
<p style="{{ css.prose() }}">{{ care|fine }}</p>
{%- endfor %}
{%- endif %}
<p style="margin:26px 0 0;padding-top:10px;border-top:2px solid #2A2622;font-size:15px;line-height:22px;">Next letter: {{ letter.end.next }}</p>
<p class="bark" style="{{ css.small() }}">Report work: <code style="font-size:13px;">{% for word in letter.end.report.split_whitespace() %}<span style="white-space:nowrap;">{{ word }}</span> {% endfor %}</code></p>
<p class="bark" style="{{ css.small() }}">Why: <code style="font-size:13px;">{{ letter.end.why }}</code></p>
<p class="bark" style="{{ css.small() }}">{{ letter.end.limits }}</p>
{%- for credit in letter.end.credits %}
<p class="bark" style="{{ css.small() }}">{{ credit }}</p>
{%- endfor %}
<p class="bark" style="{{ css.small() }}">{{ letter.farm }}, letter {{ letter.id }}.</p>
</div>
</body>
</html>
{%- macro items(list) -%}
{%- for item in list.iter() %}
<div style="margin:0 0 12px;">
<p style="{{ css.item() }}"><span style="{{ css.time() }}">{{ item.at }}</span>{{ item.what|fine }}</p>
<p class="bark" style="{{ css.note() }}">{% for note in item.notes %}{{ note|fine }} {% endfor %}</p>
</div>
{%- endfor %}
{%- endmacro items %}
"##
)]
struct Page<'a> {
    letter: &'a Letter,
    chart_cid: Option<&'a str>,
    season_cid: Option<&'a str>,
    css: Css,
}

impl Page<'_> {
    fn word(&self) -> &'static str {
        verdict_word(self.letter.verdict)
    }

    fn go(&self) -> bool {
        self.letter.verdict == Verdict::Go
    }

    fn parts(&self) -> impl Iterator<Item = &super::letter::Days> {
        [&self.letter.why, &self.letter.fails].into_iter().flatten()
    }

    fn rows(&self, rows: &Rows) -> String {
        words::rows(*rows)
    }

    fn spread(&self) -> bool {
        self.letter
            .ties
            .as_ref()
            .is_some_and(|ties| ties.lines.iter().any(|line| line.could_be.is_some()))
    }
}

#[expect(unreachable_pub, reason = "the macro writes a public type for each filter")]
mod filters {
    //! Filters of the template.

    #[askama::filter_fn]
    pub(super) fn fine(text: impl std::fmt::Display, _: &dyn askama::Values) -> askama::Result<String> {
        Ok(super::fine(&text.to_string()))
    }

    #[askama::filter_fn]
    pub(super) fn cap(text: impl std::fmt::Display, _: &dyn askama::Values) -> askama::Result<String> {
        Ok(super::words::capital(&text.to_string()))
    }
}
