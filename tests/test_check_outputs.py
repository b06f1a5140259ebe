"""The checks of check_outputs.py find what they are there to find: one good message, and one change each."""

import email.policy
import json
import struct
import tempfile
import unittest
import zlib
from email.message import EmailMessage
from pathlib import Path
from unittest import mock

import check_outputs
from check_outputs import Faults

TEXT = """Issued: Tue 10 Mar 2026, 05:30
Good until: Wed 11 Mar, 06:00
Forecast: 31 runs, 4.5 hours old; no station

GO: lift Creek this afternoon, from 13:30.
9 in 10: both faces dry, wind light enough.
"""
HTML = """<!doctype html><html lang="en"><head><title>Letter</title><style>p{color:#2A2622}</style></head><body>
<p>Issued: Tue 10 Mar 2026, 05:30</p><p>Good until: Wed 11 Mar, 06:00</p><p>Forecast: 31 runs</p>
<h1>GO: lift Creek this afternoon, from 13:30.</h1><p>9 in 10: both faces dry, wind light enough.</p>
<h2>Chart</h2><img src="cid:chart@example.invalid" alt="Lift Tue 13-17. Highest gust 57 on Wed.">
<img src="cid:season@example.invalid" alt="Creek: out since 10 Feb, lift 10 Mar."></body></html>
"""
CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//covercast//letter//EN
METHOD:PUBLISH
BEGIN:VEVENT
UID:lift-creek@example.invalid
SEQUENCE:0
DTSTAMP:20260310T053000Z
DTSTART:20260310T133000Z
DTEND:20260310T170000Z
SUMMARY:Lift Creek
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n").encode()


def picture(width=880, colour=2):
    def chunk(name, body):
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    rows = (b"\0" + b"\xfb" * width * (3 if colour == 2 else 4)) * 4
    head = struct.pack(">IIBBBBB", width, 4, 8, colour, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


def message(text=TEXT, html=HTML, png=None, calendar=CALENDAR, method="PUBLISH", headers=()):
    alternative = EmailMessage()
    alternative.set_content(text)
    alternative.add_alternative(html, subtype="html")
    alternative.get_payload()[1].add_related(png or picture(), "image", "png", cid="<chart@example.invalid>")
    alternative.get_payload()[1].add_related(picture(1280), "image", "png", cid="<season@example.invalid>")
    attached = EmailMessage()
    attached.set_content(calendar, "text", "calendar", params={"charset": "utf-8", "method": method}, cte="base64")
    mail = EmailMessage()
    mail["Date"] = "Tue, 10 Mar 2026 05:30:00 +0000"
    mail["From"] = "Larkrise Orchard <letters@example.invalid>"
    mail["To"] = "Manager <manager@example.invalid>"
    mail["Subject"] = "GO 13:30: lift Creek 1-12 | Tue 10 Mar"
    mail["Message-ID"] = "<larkrise-2026-03-10@example.invalid>"
    mail["Auto-Submitted"] = "auto-generated"
    for name, value in headers:
        del mail[name]
        if value:
            mail[name] = value
    mail["MIME-Version"] = "1.0"
    mail.make_mixed()
    mail.attach(alternative)
    mail.attach(attached)
    for part in mail.walk():
        if part is not mail:
            del part["MIME-Version"]
    return mail.as_bytes(policy=email.policy.SMTP)


def faults_of(raw):
    faults = Faults()
    check_outputs.check_mail(raw, "mail", faults)
    return "\n".join(faults.lines)


class Mail(unittest.TestCase):
    def test_a_good_message_passes(self):
        self.assertEqual(faults_of(message()), "")

    def test_each_change_for_the_worse_is_found(self):
        unfolded = CALENDAR.replace(b"Lift Creek", b"Lift Creek " + b"and more " * 9)
        twice = CALENDAR.replace(b"END:VCALENDAR\r\n", CALENDAR[CALENDAR.index(b"BEGIN:VEVENT") :])
        cases = {
            "no Message-ID": (message(headers=[("Message-ID", "")]), "message-id stands 0 times"),
            "no zone": (message(headers=[("Date", "Tue, 10 Mar 2026 05:30:00")]), "Date has no zone"),
            "foreign header": (message(headers=[("Bcc", "a@example.invalid")]), "bcc is not one of ours"),
            "two people": (message(headers=[("To", "a@example.invalid, b@example.invalid")]), "holds 2 addresses"),
            "not automatic": (message(headers=[("Auto-Submitted", "no")]), "not auto-generated"),
            "long subject": (message(headers=[("Subject", "GO 13:30: " + "lift " * 12 + "10 Mar")]), "subject has"),
            "subject without a date": (message(headers=[("Subject", "GO 13:30: lift Creek")]), "has no date"),
            "first lines": (message(text=TEXT.replace("Good until", "Until")), "should begin with 'Good until: '"),
            "long line": (message(text=TEXT + "word " * 20), "line of 100 characters"),
            "percentage": (message(text=TEXT + "90 %"), "a percentage"),
            "banned word": (message(text=TEXT + "It is safe."), "ban list"),
            "script": (message(html=HTML.replace("<h2>", "<script>1</script><h2>")), "<script>"),
            "handler": (message(html=HTML.replace("<h2>", "<h2 onclick='x'>")), "attribute onclick"),
            "outside picture": (message(html=HTML.replace("cid:chart@example.invalid", "https://x.invalid/a.png")), "image"),
            "outside style": (message(html=HTML.replace("p{", "@import 'x';p{")), "fetches from outside"),
            "no alternative text": (message(html=HTML.replace("alt=", "title=")), "no text in its stead"),
            "heavy page": (message(html=HTML.replace("</body>", "<p>word</p>" * 6000)), "HTML has"),
            "other time": (message(html=HTML.replace("13:30", "14:30")), "differ between text and HTML"),
            "odd Content-ID": (message().replace(b"chart@example.invalid", b"chart"), "RFC 2045 wants <chart>"),
            "small picture": (message(png=picture(width=440)), "440 pixels wide"),
            "see-through picture": (message(png=picture(colour=6)), "see-through"),
            "damaged picture": (message(png=picture()[:-20] + b"12345678" + picture()[-12:]), "checksum"),
            "no method": (message(method="REQUEST"), "has method 'REQUEST'"),
            "unfolded": (message(calendar=unfolded), "RFC 5545 folds at 75"),
            "event twice": (message(calendar=twice), "a UID stands twice"),
            "no stamp": (message(calendar=CALENDAR.replace(b"DTSTAMP:20260310T053000Z\r\n", b"")), "dtstamp"),
            "local time": (message(calendar=CALENDAR.replace(b"133000Z", b"133000")), "not in UTC"),
            "ends first": (message(calendar=CALENDAR.replace(b"T170000Z", b"T120000Z")), "not after its start"),
            "bare line feed": (message().replace(b"\r\n\r\n", b"\n\r\n", 1), "not CR LF"),
            "no calendar": (b"MIME-Version: 1.0\r\nContent-Type: text/plain\r\n\r\nhello\r\n", "parts are"),
        }
        for name, (raw, words) in cases.items():
            with self.subTest(name):
                self.assertIn(words, faults_of(raw))


class Json(unittest.TestCase):
    SCHEMA = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "type": "object",
        "required": ["schema", "issued"],
        "additionalProperties": False,
        "properties": {"schema": {"const": "letter/1"}, "issued": {"type": "string", "format": "date-time"}},
    }

    def faults(self, letter, schema=None):
        faults = Faults()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "schema.json"
            path.write_text(json.dumps(schema or self.SCHEMA))
            with mock.patch.object(check_outputs, "SCHEMA", path):
                check_outputs.check_json(json.dumps(letter), "letter", faults)
        return "\n".join(faults.lines)

    def test_only_what_the_schema_says_passes(self):
        good = {"schema": "letter/1", "issued": "2026-03-10T05:30:00Z"}
        self.assertEqual(self.faults(good), "")
        self.assertIn("'issued' is a required", self.faults({"schema": "letter/1"}))
        self.assertIn("date-time", self.faults(good | {"issued": "2026-03-10T05:30:00+01:00"}))
        self.assertIn("date-time", self.faults(good | {"issued": "yesterdayZ"}))
        self.assertIn("unknown keys", self.faults(good, {k: v for k, v in self.SCHEMA.items() if k[0] != "a"}))


class Drawing(unittest.TestCase):
    def test_a_drawing_shows_words_and_fetches_nothing(self):
        good = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><text>a b c d e f</text></svg>'
        for text, words in [
            (good, ""),
            (good.replace("<text>", "<image/><text>"), "image"),
            (good.replace("<text>", "<text"), "no XML"),
            (good.replace("a b c d e f", ""), "no words"),
        ]:
            faults = Faults()
            check_outputs.check_drawing(text, "drawing", faults)
            self.assertIn(words, "\n".join(faults.lines))
            self.assertEqual(bool(words), bool(faults.lines))


if __name__ == "__main__":
    unittest.main()
