"""A real mail server for the tests: it keeps what it gets, and misbehaves as it is told.

One JSON object a line on standard output: first {"event": "ready", "port": ...}, then one for each login, refusal
and message. It ends when its standard input does, so it never outlives the test that started it.
"""

import argparse
import asyncio
import email
import email.policy
import json
import ssl
import sys

import icalendar
from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword


def tell(event, **facts):
    print(json.dumps({"event": event, **facts}), flush=True)


def parts_of(content):
    """What standard readers make of a message; a defect of form raises."""
    message = email.message_from_bytes(content, policy=email.policy.strict.clone(linesep="\r\n"))
    calendars = [part.get_content() for part in message.walk() if part.get_content_type() == "text/calendar"]
    for text in calendars:
        icalendar.Calendar.from_ical(text)
    return {
        "id": message["Message-ID"],
        "subject": message["Subject"],
        "auto_submitted": message["Auto-Submitted"],
        "headers": sorted(set(message.keys())),
        "types": [part.get_content_type() for part in message.walk()],
        "text": message.get_body(("plain",)).get_content(),
        "longest_line": max(len(line) for line in content.split(b"\r\n")),
        "bare_ends": content.replace(b"\r\n", b"").count(b"\r") + content.replace(b"\r\n", b"").count(b"\n"),
    }


def is_protected(server):
    return server.transport.get_extra_info("ssl_object") is not None


class Handler:
    def __init__(self, options):
        self.options = options
        self.defer = options.defer
        self.lose = options.lose

    async def handle_RCPT(self, server, session, envelope, address, rcpt_options):
        if address == self.options.refuse:
            tell("refused", to=address)
            return "550 5.1.1 no such user"
        if self.defer > 0:
            self.defer -= 1
            tell("deferred", to=address)
            return "451 4.7.1 try again later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        facts = parts_of(envelope.original_content)
        tell(
            "message",
            to=envelope.rcpt_tos,
            sender=envelope.mail_from,
            tls=is_protected(server),
            login=bool(session.authenticated),
            bytes=envelope.original_content.decode("ascii"),
            **facts,
        )
        if self.lose > 0:
            self.lose -= 1
            server.transport.abort()
            return None
        return "250 2.0.0 OK"


def login(options):
    def check(server, session, envelope, mechanism, data):
        good = (
            isinstance(data, LoginPassword)
            and data.login.decode() == options.user
            and data.password.decode() == options.password
        )
        tell("login", good=good, tls=is_protected(server))
        # A failing authenticator must say `handled=False`, else the server gives no answer at all.
        return AuthResult(success=good, handled=good)

    return check


async def serve(protocol, context):
    """Any free port; until standard input ends."""
    loop = asyncio.get_running_loop()
    server = await loop.create_server(protocol, "127.0.0.1", 0, ssl=context)
    tell("ready", port=server.sockets[0].getsockname()[1])
    await loop.run_in_executor(None, sys.stdin.read)


class Silent(asyncio.Protocol):
    """Takes the connection and never says a word."""

    def connection_made(self, transport):
        tell("connected")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--tls", choices=["starttls", "implicit", "none"], default="starttls")
    parser.add_argument("--certificate")
    parser.add_argument("--key")
    parser.add_argument("--user")
    parser.add_argument("--password")
    parser.add_argument("--refuse", help="recipient that gets 550")
    parser.add_argument("--defer", type=int, default=0, help="so many recipients get 451 first")
    parser.add_argument("--lose", type=int, default=0, help="so many messages are kept and the line cut before the reply")
    parser.add_argument("--silent", action="store_true")
    options = parser.parse_args()
    if options.silent:
        asyncio.run(serve(Silent, None))
        return
    settings, context, implicit = {"hostname": "localhost", "decode_data": False}, None, None
    if options.tls != "none":
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(options.certificate, options.key)
    if options.tls == "implicit":
        implicit = context
        settings["auth_require_tls"] = False  # the line is protected before the first word
    elif options.tls == "starttls":
        settings.update(tls_context=context, require_starttls=True)
    if options.user:
        settings.update(authenticator=login(options), auth_required=True)
    handler = Handler(options)
    asyncio.run(serve(lambda: SMTP(handler, **settings), implicit))


if __name__ == "__main__":
    main()
