"""Checks what covercast sends out with other people's readers of the same standards.

    check_outputs.py demo PROGRAM      runs `PROGRAM demo` twice in empty folders and checks all it wrote
    check_outputs.py mail FILE...      checks messages as a mail server received them
    check_outputs.py calendar FILE...  checks calendar files

Mail: RFC 5322 and MIME by Python's email package, strict. Calendar: RFC 5545 by the icalendar package. JSON: by
jsonschema against the schema beside the code that writes it. Prints one line a fault; exit 1 if there is any.
"""

import email.policy
import json
import re
import resource
import struct
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
import zlib
from datetime import datetime
from email.parser import BytesParser
from html.parser import HTMLParser
from pathlib import Path

import icalendar
import jsonschema

SCHEMA = Path(__file__).parent.parent / "src" / "advice" / "letter.schema.json"

# One-header-once, and no other header at all: text from outside must not be able to add one.
ONCE = ["date", "from", "to", "subject", "message-id", "mime-version", "content-type", "auto-submitted"]
MAY = ONCE + ["content-transfer-encoding", "reply-to", "sender", "user-agent"]

TREE = (
    "multipart/mixed",
    (
        (
            "multipart/alternative",
            (("text/plain", ()), ("multipart/related", (("text/html", ()), ("image/png", ()), ("image/png", ())))),
        ),
        ("text/calendar", ()),
    ),
)
FIRST_LINES = ["Issued: ", "Good until: ", "Forecast: "]
BANNED = re.compile(r"\b(consider|optimal|safe|certain|impossible|may be suitable)\b", re.IGNORECASE)

MOST_HTML = 60_000  # bytes
MOST_SUBJECT = 60  # characters
MOST_LINE = 80  # characters of a text line
PICTURE_WIDTHS = (880, 1280)  # pixels: the chart, 440 at double density; the plan to harvest, 640
MOST_PICTURE = 150_000  # bytes
MOST_DEMO_CPU = 2.0  # seconds of one core


class Faults:
    """Collects what is wrong and counts what was asked."""

    def __init__(self):
        self.asked = 0
        self.lines = []

    def want(self, true, where, sentence):
        self.asked += 1
        if not true:
            self.lines.append(f"{where}: {sentence}")
        return bool(true)

    def report(self, what):
        for line in self.lines:
            print(line)
        print(f"{what}: {self.asked} questions, {len(self.lines)} faults")
        return 1 if self.lines else 0


# --- mail -----------------------------------------------------------------------------------------------------


def tree(part):
    """Content types of a message as nested pairs."""
    inner = tuple(tree(p) for p in part.iter_parts()) if part.is_multipart() else ()
    return (part.get_content_type(), inner)


def check_lines(raw, where, faults):
    faults.want(not re.search(rb"(?<!\r)\n|\r(?!\n)", raw), where, "a line end is not CR LF")
    faults.want(b"\0" not in raw, where, "has a NUL byte")
    faults.want(all(byte < 128 for byte in raw), where, "has a byte above 127, so it needs more than a 7-bit way")
    longest = max(len(line) for line in raw.split(b"\r\n"))
    faults.want(longest <= 998, where, f"longest line has {longest} bytes, RFC 5322 allows 998")


def check_headers(message, where, faults):
    names = [name.lower() for name in message.keys()]
    for name in ONCE:
        faults.want(names.count(name) == 1, where, f"header {name} stands {names.count(name)} times")
    for name in sorted(set(names)):
        faults.want(name in MAY, where, f"header {name} is not one of ours")
    for name, value in message.items():
        faults.want(not value.defects, where, f"header {name}: {value.defects}")
    if any(names.count(name) != 1 for name in ONCE):
        return
    date = message["date"].datetime
    faults.want(date is not None and date.tzinfo is not None, where, "Date has no zone")
    for name in ("from", "to"):
        count = len(message[name].addresses)
        faults.want(count == 1, where, f"{name} holds {count} addresses; one message goes to one person")
    faults.want(re.fullmatch(r"<[^<>@\s]+@[^<>@\s]+>", str(message["message-id"]).strip()), where, "odd Message-ID")
    faults.want(message["auto-submitted"] == "auto-generated", where, "Auto-Submitted is not auto-generated")
    subject = str(message["subject"])
    faults.want(0 < len(subject) <= MOST_SUBJECT, where, f"subject has {len(subject)} characters: {subject}")
    faults.want(re.search(r"\d{1,2} [A-Z][a-z]{2}", subject), where, f"subject has no date: {subject}")


def check_text(text, where, faults):
    lines = text.replace("\r\n", "\n").split("\n")
    for line, start in zip(lines, FIRST_LINES):
        faults.want(line.startswith(start), where, f"'{line}' should begin with '{start}'")
    for line in lines:
        faults.want(len(line) <= MOST_LINE, where, f"line of {len(line)} characters: {line}")
        faults.want("%" not in line, where, f"a percentage: {line}")
        faults.want(not BANNED.search(line), where, f"a word of the ban list: {line}")
        faults.want(line.isascii(), where, f"English text is not plain ASCII: {line}")


class Page(HTMLParser):
    """What an HTML letter shows and what it points at."""

    OUTSIDE = {"script", "link", "iframe", "object", "embed", "form", "input", "button", "base", "video", "audio"}

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.words, self.images, self.links, self.bad, self.levels = [], [], [], [], []
        self.language, self.silent = None, 0
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        self.silent += tag in ("style", "title")
        if tag in self.OUTSIDE:
            self.bad.append(f"<{tag}>")
        self.bad += [f"attribute {name}" for name in given if name.startswith("on")]
        self.bad += [f"{name}={value}" for name, value in attributes if "url(" in (value or "").lower()]
        if tag == "html":
            self.language = given.get("lang")
        if tag == "img":
            self.images.append(given)
        if tag == "a":
            self.links.append(given.get("href", ""))
        if re.fullmatch("h[1-6]", tag):
            self.levels.append(int(tag[1]))

    def handle_endtag(self, tag):
        self.silent -= tag in ("style", "title")

    def handle_data(self, data):
        if not self.silent:
            self.words += data.split()


def check_html(html, content_ids, where, faults):
    size = len(html.encode())
    faults.want(size <= MOST_HTML, where, f"HTML has {size} bytes, at most {MOST_HTML} are allowed")
    page = Page(html)
    faults.want(not page.bad, where, f"HTML holds {page.bad}")
    faults.want("url(" not in html.lower() and "@import" not in html.lower(), where, "HTML fetches from outside")
    faults.want(page.language, where, "HTML names no language")
    faults.want(page.levels.count(1) == 1, where, f"HTML has {page.levels.count(1)} h1 headings")
    steps = [b - a for a, b in zip(page.levels, page.levels[1:])]
    faults.want(all(step <= 1 for step in steps), where, f"heading levels jump: {page.levels}")
    faults.want(" ".join(page.words).startswith("Issued"), where, "HTML does not begin with Issued")
    faults.want(len(page.links) <= 2, where, f"HTML has {len(page.links)} links, at most two are allowed")
    for link in page.links:
        faults.want(link.startswith("https://"), where, f"link {link} is not https")
    shown = [image.get("src") for image in page.images]
    faults.want(shown == [f"cid:{name}" for name in content_ids], where, f"images {shown}, parts {content_ids}")
    for image in page.images:
        faults.want(len(image.get("alt", "")) > 20, where, "image has no text in its stead")
    return page


def check_same_numbers(text, page, where, faults):
    """Everything in the HTML is in the text: no clock time or chance in one and not in the other."""
    pattern = r"\d{1,2}:\d{2}|\d+ in 10"
    shown = set(re.findall(pattern, " ".join(page.words)))
    told = set(re.findall(pattern, " ".join(text.split())))
    faults.want(shown == told, where, f"times and chances differ between text and HTML: {sorted(shown ^ told)}")


def check_mail(raw, where, faults):
    """One message; returns its text, calendar and pictures."""
    check_lines(raw, where, faults)
    try:
        message = BytesParser(policy=email.policy.SMTP.clone(raise_on_defect=True)).parsebytes(raw)
        parts = {part.get_content_type(): part for part in message.walk()}
        found = tree(message)
        bodies = {kind: part.get_content() for kind, part in parts.items() if not part.is_multipart()}
    except Exception as defect:  # whatever the strict reader refuses is a fault of the message
        faults.want(False, where, f"not readable by strict rules: {defect!r}")
        return None
    check_headers(message, where, faults)
    if not faults.want(found == TREE, where, f"parts are {found}, should be {TREE}"):
        return None
    for kind in ("text/plain", "text/html", "text/calendar"):
        charset = parts[kind].get_content_charset()
        faults.want(charset in ("utf-8", "us-ascii"), where, f"{kind} is in {charset}")
    text, html = (bodies[kind] for kind in ("text/plain", "text/html"))
    drawn = [part for part in message.walk() if part.get_content_type() == "image/png"]
    pictures = [part.get_content() for part in drawn]
    method = parts["text/calendar"]["content-type"].params.get("method", "")
    faults.want(method.upper() == "PUBLISH", where, f"calendar part has method '{method}'")
    check_text(text, where, faults)
    content_ids = [str(part.get("content-id", "")).strip() for part in drawn]
    for name in content_ids:
        faults.want(re.fullmatch(r"<[^<>@\s]+@[^<>@\s]+>", name), where, f"RFC 2045 wants {name} as <a@b>")
    page = check_html(html, [name.strip("<>") for name in content_ids], where, faults)
    check_same_numbers(text, page, where, faults)
    for picture in pictures:
        check_picture(picture, where, faults)
    calendar = parts["text/calendar"].get_payload(decode=True)
    check_calendar(calendar, where, faults)
    return {"text": text, "pictures": pictures, "calendar": calendar}


# --- calendar, picture, drawing, JSON -------------------------------------------------------------------------


def check_calendar(raw, where, faults):
    faults.want(not re.search(rb"(?<!\r)\n|\r(?!\n)", raw), where, "calendar: a line end is not CR LF")
    faults.want(raw.endswith(b"\r\n"), where, "calendar: the last line is not ended")
    longest = max(len(line) for line in raw.split(b"\r\n"))
    faults.want(longest <= 75, where, f"calendar: longest line has {longest} bytes, RFC 5545 folds at 75")
    try:
        calendar = icalendar.Calendar.from_ical(raw)
    except ValueError as defect:
        faults.want(False, where, f"calendar: not readable: {defect}")
        return
    faults.want(str(calendar.get("version")) == "2.0", where, "calendar: VERSION is not 2.0")
    faults.want("covercast" in str(calendar.get("prodid", "")).lower(), where, "calendar: PRODID is not ours")
    faults.want(str(calendar.get("method")) == "PUBLISH", where, "calendar: METHOD is not PUBLISH")
    identities = []
    for event in calendar.walk("VEVENT"):
        identity = str(event.get("uid", ""))
        identities.append((identity, str(event.get("recurrence-id", ""))))
        at = f"{where}: event {identity}"
        faults.want(not event.errors, at, f"errors {event.errors}")
        missing = [key for key in ("uid", "dtstamp", "dtstart", "dtend", "summary", "sequence") if key not in event]
        if faults.want(not missing, at, f"lacks {missing}"):
            begin, end, stamp = (event[key].dt for key in ("dtstart", "dtend", "dtstamp"))
            instants = True
            for name, time in (("DTSTART", begin), ("DTEND", end), ("DTSTAMP", stamp)):
                utc = getattr(time, "utcoffset", lambda: None)()
                instants &= faults.want(utc is not None and not utc, at, f"{name} is not in UTC")
            if instants:
                faults.want(begin < end, at, f"ends at {end}, not after its start {begin}")
    faults.want(len(set(identities)) == len(identities), where, "calendar: a UID stands twice")


def check_picture(raw, where, faults):
    """A PNG by its own rules: signature, checksum of every chunk, all rows there, nothing see-through."""
    if not faults.want(raw[:8] == b"\x89PNG\r\n\x1a\n", where, "picture is no PNG"):
        return
    faults.want(len(raw) <= MOST_PICTURE, where, f"picture has {len(raw)} bytes, at most {MOST_PICTURE}")
    at, chunks = 8, []
    while at + 12 <= len(raw):
        (length,) = struct.unpack(">I", raw[at : at + 4])
        body = raw[at + 4 : at + 8 + length]
        (sum_written,) = struct.unpack(">I", raw[at + 8 + length : at + 12 + length])
        faults.want(zlib.crc32(body) == sum_written, where, f"picture: checksum of {body[:4]} is wrong")
        chunks.append((body[:4], body[4:]))
        at += 12 + length
    names = [name for name, _ in chunks]
    if not faults.want(names[0] == b"IHDR" and names[-1] == b"IEND", where, f"picture: chunks {names}"):
        return
    width, height, depth, colour = struct.unpack(">IIBB", chunks[0][1][:10])
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    faults.want(width in PICTURE_WIDTHS, where, f"picture is {width} pixels wide, should be one of {PICTURE_WIDTHS}")
    faults.want(colour not in (4, 6) and b"tRNS" not in names, where, "picture is see-through; dark mode spoils it")
    try:
        rows = zlib.decompress(b"".join(body for name, body in chunks if name == b"IDAT"))
    except zlib.error as defect:
        faults.want(False, where, f"picture: {defect}")
        return
    wanted = height * (1 + (width * channels * depth + 7) // 8)
    faults.want(len(rows) == wanted, where, f"picture has {len(rows)} bytes of rows, should have {wanted}")


def check_drawing(text, where, faults):
    try:
        root = ElementTree.fromstring(text)
    except ElementTree.ParseError as defect:
        faults.want(False, where, f"drawing is no XML: {defect}")
        return
    names = {element.tag.rpartition("}")[2] for element in root.iter()}
    faults.want(root.tag == "{http://www.w3.org/2000/svg}svg" and root.get("viewBox"), where, "no svg with viewBox")
    bad = names & {"script", "image", "foreignObject", "use", "a"}
    faults.want(not bad, where, f"drawing holds {sorted(bad)}")
    words = [word for element in root.iter() for word in (element.text or "").split()]
    faults.want(len(words) > 5, where, "drawing shows no words")


FORMATS = jsonschema.FormatChecker()


@FORMATS.checks("date-time", raises=ValueError)
def is_utc_instant(value):
    """RFC 3339, and in UTC as all our JSON is."""
    return not isinstance(value, str) or (value.endswith("Z") and bool(datetime.fromisoformat(value)))


def check_json(text, where, faults):
    schema = json.loads(SCHEMA.read_text())
    kind = jsonschema.validators.validator_for(schema)
    try:
        kind.check_schema(schema)
    except jsonschema.SchemaError as defect:
        faults.want(False, where, f"{SCHEMA.name} is no JSON Schema: {defect.message}")
        return
    letter = json.loads(text)
    faults.want("schema" in letter, where, "JSON does not name its schema")
    for error in kind(schema, format_checker=FORMATS).iter_errors(letter):
        faults.want(False, where, f"JSON {error.json_path}: {error.message[:200]}")
    unchecked = {**letter, "not in the schema": 1}
    faults.want(not kind(schema).is_valid(unchecked), where, "the schema lets unknown keys through")


# --- commands -------------------------------------------------------------------------------------------------


def run_demo(program, folder):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run([program, "demo"], cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return done, after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def files(folder, ending):
    return sorted((Path(folder) / "covercast-demo").rglob(f"*{ending}"))


def demo(program):
    faults = Faults()
    program = str(Path(program).resolve())
    with tempfile.TemporaryDirectory() as first, tempfile.TemporaryDirectory() as second:
        done, cpu = run_demo(program, first)
        again, _ = run_demo(program, second)
        faults.want(done.returncode == 0, "demo", f"exit {done.returncode}: {done.stderr.decode()[:500]}")
        faults.want(cpu <= MOST_DEMO_CPU, "demo", f"took {cpu:.2f} s of CPU, at most {MOST_DEMO_CPU}")
        faults.want(done.stdout == again.stdout, "demo", "two runs print different letters")
        for ending in (".eml", ".png", ".svg", ".ics", ".json"):
            faults.want(files(first, ending), "demo", f"wrote no {ending} file")
            names = [[str(p.relative_to(where)) for p in files(where, ending)] for where in (first, second)]
            if faults.want(names[0] == names[1], "demo", f"two runs write different files: {names}"):
                for one, other in zip(files(first, ending), files(second, ending)):
                    faults.want(one.read_bytes() == other.read_bytes(), one.name, "differs between two runs")
        printed = " ".join(done.stdout.decode().split())
        pictures = [path.read_bytes() for path in files(first, ".png")]
        calendars = [path.read_bytes() for path in files(first, ".ics")]
        for path in files(first, ".eml"):
            mail = check_mail(path.read_bytes(), path.name, faults)
            if mail:
                faults.want(" ".join(mail["text"].split()) in printed, path.name, "its text is not what demo printed")
                drawn = all(picture in pictures for picture in mail["pictures"])
                faults.want(drawn, path.name, "a picture of it is no .png file")
                faults.want(mail["calendar"] in calendars, path.name, "its calendar is not the .ics file")
                faults.want(b"BEGIN:VEVENT" in mail["calendar"], path.name, "the demo's calendar is empty")
        for path in files(first, ".ics"):
            check_calendar(path.read_bytes(), path.name, faults)
        for path in files(first, ".png"):
            check_picture(path.read_bytes(), path.name, faults)
        for path in files(first, ".svg"):
            check_drawing(path.read_text(), path.name, faults)
        for path in files(first, ".json"):
            check_json(path.read_text(), path.name, faults)
        print(f"demo took {cpu:.2f} s of CPU")
    return faults.report("demo outputs")


def main(arguments):
    match arguments:
        case ["demo", program]:
            return demo(program)
        case ["mail", first, *others]:
            faults = Faults()
            for path in [first, *others]:
                check_mail(Path(path).read_bytes(), path, faults)
            return faults.report("mail")
        case ["calendar", first, *others]:
            faults = Faults()
            for path in [first, *others]:
                check_calendar(Path(path).read_bytes(), path, faults)
            return faults.report("calendars")
    print(__doc__, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
