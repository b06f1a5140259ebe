//! The KML of station forecasts, walked through once; the text of a station's wanted elements is all that is kept.

use std::io::{self, Read};

use chrono::{DateTime, Utc};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::super::gather;
use super::super::refusal::{Refusal, cleaned};
use super::super::unpack::Markup;
use super::element::{self, COUNT};

/// Most time steps: more than ten days of hours.
const MOST_STEPS: usize = 1500;
/// Deepest nesting.
const DEEPEST: usize = 64;
/// Longest name that is kept.
const LONGEST_NAME: usize = 200;

/// What stands before the stations.
#[derive(Debug, Default)]
pub(super) struct Head {
    /// Issue time as written, perhaps empty.
    pub(super) issue: String,
    /// What stands for a missing value.
    pub(super) missing: String,
    /// The time steps.
    pub(super) steps: Vec<DateTime<Utc>>,
}

/// One station as written.
#[derive(Debug, Default)]
pub(super) struct Station {
    pub(super) id: String,
    pub(super) name: String,
    /// Longitude, latitude and height \[m\], parted by commas.
    pub(super) coordinates: String,
    /// Values of each wanted element, parted by blanks; `None` where the element is not there.
    pub(super) values: [Option<String>; COUNT],
}

/// What the text that comes next is.
#[derive(Clone, Copy, PartialEq)]
enum Place {
    Nowhere,
    Issue,
    Missing,
    Step,
    Id,
    Name,
    Value(usize),
    Coordinates,
}

/// Walks through the stations until `enough` says so, and gives each to it as soon as it is whole.
pub(super) fn walk<R: Read>(
    markup: Markup<R>,
    wanted: Option<&str>,
    mut enough: impl FnMut(&Head, &mut Station) -> bool,
) -> Result<Head, Refusal> {
    let mut reader = Reader::from_reader(markup);
    let config = reader.config_mut();
    config.trim_text(false);
    config.check_end_names = true;
    let mut walk = Walk::new(wanted);
    let mut buffer = Vec::new();
    loop {
        buffer.clear();
        let event = match reader.read_event_into(&mut buffer) {
            Ok(event) => event,
            Err(quick_xml::Error::Io(error)) if error.kind() == io::ErrorKind::FileTooLarge => {
                return Err(Refusal::TooBig);
            }
            Err(quick_xml::Error::Io(_)) => return Err(Refusal::Archive),
            Err(_) => {
                return Err(Refusal::NotXml {
                    at: reader.error_position(),
                });
            }
        };
        match event {
            Event::Start(start) => walk.start(&start)?,
            Event::Empty(_) => {}
            Event::Text(text) => walk.text(&text.into_inner())?,
            Event::End(end) => {
                if walk.end(end.local_name().as_ref()) && enough(&walk.head, &mut walk.station) {
                    return Ok(walk.head);
                }
            }
            Event::DocType(_) => return Err(Refusal::Doctype),
            Event::Eof if walk.depth == 0 && walk.began => return Ok(walk.head),
            Event::Eof => {
                return Err(Refusal::NotXml {
                    at: reader.buffer_position(),
                });
            }
            Event::CData(_) | Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::GeneralRef(_) => {}
        }
        reader.get_mut().taken();
    }
}

struct Walk<'a> {
    wanted: Option<&'a str>,
    head: Head,
    station: Station,
    inside: bool,
    element: Option<usize>,
    place: Place,
    step: String,
    depth: usize,
    began: bool,
}

impl<'a> Walk<'a> {
    fn new(wanted: Option<&'a str>) -> Self {
        Self {
            wanted,
            head: Head::default(),
            station: Station::default(),
            inside: false,
            element: None,
            place: Place::Nowhere,
            step: String::new(),
            depth: 0,
            began: false,
        }
    }

    fn start(&mut self, start: &BytesStart<'_>) -> Result<(), Refusal> {
        self.depth += 1;
        self.began = true;
        if self.depth > DEEPEST {
            return Err(Refusal::TooBig);
        }
        self.place = match (start.local_name().as_ref(), self.inside) {
            ("IssueTime", false) => Place::Issue,
            ("DefaultUndefSign", false) => Place::Missing,
            ("TimeStep", false) => Place::Step,
            ("Placemark", _) => {
                self.inside = true;
                self.element = None;
                self.station = Station::default();
                Place::Nowhere
            }
            ("name", true) => Place::Id,
            ("description", true) => Place::Name,
            ("Forecast", true) => {
                self.element = if self.is_wanted() { named(start) } else { None };
                if let Some(slot) = self.element.and_then(|number| self.station.values.get_mut(number)) {
                    *slot = Some(String::new());
                }
                Place::Nowhere
            }
            ("value", true) => self.element.map_or(Place::Nowhere, Place::Value),
            ("coordinates", true) => Place::Coordinates,
            _ => Place::Nowhere,
        };
        Ok(())
    }

    /// Whether the station may be the one; its id stands before its values.
    fn is_wanted(&self) -> bool {
        let id = self.station.id.trim();
        id.is_empty() || self.wanted.is_none_or(|wanted| id.eq_ignore_ascii_case(wanted))
    }

    fn text(&mut self, text: &str) -> Result<(), Refusal> {
        match self.place {
            Place::Nowhere => {}
            Place::Issue => add(&mut self.head.issue, text),
            Place::Missing => add(&mut self.head.missing, text),
            Place::Step => add(&mut self.step, text),
            Place::Id => add(&mut self.station.id, text),
            Place::Name => add(&mut self.station.name, text),
            Place::Coordinates => add(&mut self.station.coordinates, text),
            Place::Value(number) => {
                if let Some(Some(values)) = self.station.values.get_mut(number) {
                    if values.len() + text.len() > 64 * MOST_STEPS {
                        return Err(Refusal::TooBig);
                    }
                    values.push_str(text);
                }
            }
        }
        if self.head.steps.len() > MOST_STEPS {
            return Err(Refusal::TooLong);
        }
        Ok(())
    }

    /// Whether a station ended here.
    fn end(&mut self, name: &str) -> bool {
        self.depth = self.depth.saturating_sub(1);
        if self.place == Place::Step {
            // A step that cannot be read leaves a step too few, and the lengths no longer agree.
            self.head.steps.extend(gather::instant(&self.step));
            self.step.clear();
        }
        self.place = Place::Nowhere;
        let ended = name == "Placemark" && self.inside;
        if ended {
            self.inside = false;
        }
        ended
    }
}

fn add(to: &mut String, text: &str) {
    if to.len() < LONGEST_NAME {
        to.extend(text.chars().take(LONGEST_NAME));
    }
}

/// The number of the element a block of values is named after.
fn named(start: &BytesStart<'_>) -> Option<usize> {
    start
        .attributes()
        .with_checks(false)
        .flatten()
        .find(|attribute| attribute.key.local_name().as_ref() == "elementName")
        .and_then(|attribute| element::number(attribute.value.as_ref()))
}

impl Station {
    /// Longitude, latitude \[degrees\] and height \[m\].
    pub(super) fn coordinates(&self) -> Option<(f64, f64, Option<f64>)> {
        let mut parts = self.coordinates.split(',').map(|part| part.trim().parse::<f64>().ok());
        let (longitude, latitude) = (parts.next()??, parts.next()??);
        let height = parts.next().flatten().filter(|height| height.is_finite());
        let on_earth = (-90.0..=90.0).contains(&latitude) && (-180.0..=360.0).contains(&longitude);
        on_earth.then_some((longitude, latitude, height))
    }

    /// "FRANKFURT/M (10637)".
    pub(super) fn called(&self) -> String {
        let (id, name) = (cleaned(&self.id), cleaned(&self.name));
        if name.is_empty() { id } else { format!("{name} ({id})") }
    }
}
