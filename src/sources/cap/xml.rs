//! Messages and indexes of messages in XML.

use std::io::Read;

use roxmltree::{Document, Node, ParsingOptions};

use super::super::refusal::Refusal;
use super::super::unpack::Markup;
use super::raw::{self, RawInfo};
use super::{Feed, Link};
use crate::weather::warning::{Area, Warning};

/// Most nodes of one document.
const MOST_NODES: u32 = 300_000;
/// Most bytes of one document.
const MOST_BYTES: u64 = 8 << 20;
/// Most messages, entries and infos.
const MOST: usize = 5000;

/// Reads one document.
pub(super) fn read(bytes: &[u8]) -> Result<Feed, Refusal> {
    let mut text = String::new();
    let length = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
    if length > MOST_BYTES {
        return Err(Refusal::TooBig);
    }
    let mut markup = Markup::whole(bytes, MOST_BYTES);
    if markup.read_to_string(&mut text).is_err() {
        return Err(Refusal::NotXml { at: 0 });
    }
    let text = text.trim_start_matches('\u{feff}').trim_start();
    let options = ParsingOptions {
        allow_dtd: false,
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text, options).map_err(|error| {
        if matches!(error, roxmltree::Error::DtdDetected) {
            Refusal::Doctype
        } else if matches!(error, roxmltree::Error::NodesLimitReached) {
            Refusal::TooBig
        } else {
            Refusal::NotXml {
                at: u64::from(error.pos().row),
            }
        }
    })?;
    let root = document.root_element();
    let alerts: Vec<Warning> = root
        .descendants()
        .filter(|node| is(*node, "alert"))
        .take(MOST)
        .map(alert)
        .collect();
    let entries = index(root);
    match (root.tag_name().name(), alerts.is_empty()) {
        (_, false) => Ok(Feed {
            warnings: alerts,
            links: Vec::new(),
        }),
        ("feed" | "rss" | "RDF", _) => Ok(super::joined(entries)),
        ("alerts", _) => Ok(Feed::default()),
        ("html" | "HTML", _) => Err(Refusal::WebPage),
        _ => Err(Refusal::NoWarnings),
    }
}

/// Whether an element is of the protocol, of whatever version.
fn is(node: Node<'_, '_>, name: &str) -> bool {
    let tag = node.tag_name();
    node.is_element()
        && tag.name() == name
        && tag
            .namespace()
            .is_some_and(|space| space.starts_with("urn:oasis:names:tc:emergency:cap:1."))
}

fn children<'a>(node: Node<'a, 'a>, name: &'a str) -> impl Iterator<Item = Node<'a, 'a>> {
    node.children()
        .filter(move |child| child.is_element() && child.tag_name().name() == name)
}

/// The text of the first child of a name, its parts joined.
fn text(node: Node<'_, '_>, name: &str) -> String {
    node.children()
        .find(|child| is(*child, name))
        .map(whole)
        .unwrap_or_default()
}

/// Text of an element, with that of elements inside, which hasty issuers leave in.
fn whole(node: Node<'_, '_>) -> String {
    node.descendants()
        .filter(Node::is_text)
        .filter_map(|part| part.text())
        .collect()
}

fn alert(node: Node<'_, '_>) -> Warning {
    let infos = node.children().filter(|child| is(*child, "info")).take(MOST);
    Warning {
        key: raw::key(&text(node, "sender"), &text(node, "identifier"), &text(node, "sent")),
        status: raw::status(&text(node, "status")),
        message: raw::message(&text(node, "msgType")),
        scope: raw::scope(&text(node, "scope")),
        references: raw::references(&text(node, "references")),
        note: super::text::clean(&text(node, "note"), super::text::HEADLINE),
        infos: infos.map(|info| info_of(info).info()).collect(),
    }
}

fn info_of(node: Node<'_, '_>) -> RawInfo {
    let language = text(node, "language");
    RawInfo {
        // Where none is told the protocol says it is US English.
        language: if language.trim().is_empty() {
            "en-US".to_owned()
        } else {
            language
        },
        event: text(node, "event"),
        headline: text(node, "headline"),
        description: text(node, "description"),
        instruction: text(node, "instruction"),
        issuer: text(node, "senderName"),
        severity: text(node, "severity"),
        urgency: text(node, "urgency"),
        certainty: text(node, "certainty"),
        effective: text(node, "effective"),
        onset: text(node, "onset"),
        expires: text(node, "expires"),
        ends: String::new(),
        responses: node
            .children()
            .filter(|child| is(*child, "responseType"))
            .map(whole)
            .map(|word| word.trim().to_owned())
            .collect(),
        parameters: pairs(node, "parameter"),
        event_codes: pairs(node, "eventCode"),
        areas: node
            .children()
            .filter(|child| is(*child, "area"))
            .take(MOST)
            .map(area)
            .collect(),
        at_sea: false,
    }
}

/// Names and values; in an index several pairs may stand in one element.
fn pairs(node: Node<'_, '_>, name: &str) -> Vec<(String, String)> {
    let mut pairs = Vec::new();
    for element in node.children().filter(|child| is(*child, name)) {
        let mut called = String::new();
        for part in element.children().filter(Node::is_element) {
            match part.tag_name().name() {
                "valueName" => called = whole(part).trim().to_owned(),
                "value" => pairs.push((called.clone(), whole(part).trim().to_owned())),
                _ => {}
            }
        }
    }
    pairs
}

fn area(node: Node<'_, '_>) -> Area {
    let mut area = Area {
        description: super::text::clean(&text(node, "areaDesc"), super::text::NAME),
        ..Area::default()
    };
    for child in node.children() {
        if is(child, "polygon") {
            area.polygons.extend(raw::ring(&whole(child)));
        } else if is(child, "circle") {
            area.circles.extend(raw::circle(&whole(child)));
        }
    }
    for (system, value) in pairs(node, "geocode") {
        raw::codes(&mut area, &system, &value);
    }
    area
}

/// Entries of an Atom or RSS index, each with its short fields, if it has them, and its link.
fn index(root: Node<'_, '_>) -> Vec<(Option<Warning>, Option<Link>)> {
    let entries = root
        .descendants()
        .filter(|node| node.is_element() && matches!(node.tag_name().name(), "entry" | "item"));
    entries.take(MOST).map(entry).collect()
}

fn entry(node: Node<'_, '_>) -> (Option<Warning>, Option<Link>) {
    let plain = |name: &str| children(node, name).next().map(whole).unwrap_or_default();
    let mut raw = info_of(node);
    if raw.headline.is_empty() {
        raw.headline = plain("title");
    }
    if raw.description.is_empty() {
        raw.description = plain("summary");
    }
    // An entry has one area, its parts beside each other.
    raw.areas = vec![area(node)];
    raw.issuer = if raw.issuer.is_empty() {
        children(node, "author")
            .next()
            .and_then(|author| children(author, "name").next())
            .map(whole)
            .unwrap_or_default()
    } else {
        raw.issuer
    };
    let own = text(node, "identifier");
    let identifier = if own.is_empty() {
        plain("id") + &plain("guid")
    } else {
        own
    };
    let sent = text(node, "sent");
    let updated = plain("updated");
    let sent = if sent.is_empty() { updated } else { sent };
    let link = link(node).map(|url| Link {
        url,
        info: raw.info(),
        identifier: super::text::clean(&identifier, super::text::HEADLINE),
    });
    let kind = text(node, "msgType") + &text(node, "message_type");
    let told = !raw.event.is_empty() && !text(node, "status").is_empty();
    let warning = told.then(|| Warning {
        key: raw::key(&text(node, "sender"), &identifier, &sent),
        status: raw::status(&text(node, "status")),
        message: raw::message(&kind),
        scope: raw::scope(&text(node, "scope")),
        references: raw::references(&text(node, "references")),
        note: String::new(),
        infos: vec![raw.info()],
    });
    (warning, link)
}

/// The link to the message: the one marked as such, else the first that names no other purpose.
fn link(node: Node<'_, '_>) -> Option<String> {
    let links: Vec<Node<'_, '_>> = children(node, "link").collect();
    let marked = links
        .iter()
        .find(|link| link.attribute("type").is_some_and(|form| form.contains("cap+xml")));
    let plain = || {
        links.iter().find(|link| {
            let purpose = link.attribute("rel").unwrap_or("alternate");
            matches!(purpose, "alternate") && link.attribute("type").is_none_or(|form| form.contains("xml"))
        })
    };
    let link = marked.or_else(plain)?;
    let url = link.attribute("href").map_or_else(|| whole(*link), ToOwned::to_owned);
    let url = url.trim();
    (!url.is_empty() && url.len() < 1000).then(|| url.to_owned())
}
