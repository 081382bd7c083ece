"""A mail server for the tests: aiosmtpd, with faults chosen by the recipient.

Prints one JSON object a line: first its port, then each message as Python's own
email library reads it. What a recipient does: nobody 550, later 451, spam 554
after the message, busy 451 after it, drop hangs up in the message, slow answers
late.
"""

import argparse
import asyncio
import base64
import email
import email.policy
import json
import logging
import ssl
import warnings

from aiosmtpd.smtp import SMTP, AuthResult


# It warns of a login without STARTTLS, which is what some tests are about.
logging.getLogger("mail.log").setLevel(logging.CRITICAL)
warnings.simplefilter("ignore")


def say(**what):
    print(json.dumps(what), flush=True)


def shape(part):
    kind = part.get_content_type()
    if part.is_multipart():
        return [kind] + [shape(inner) for inner in part.iter_parts()]
    return kind


class Handler:
    async def handle_MAIL(self, server, session, envelope, address, options):
        if address.startswith("outsider@"):
            return "550 5.7.1 not allowed to send as " + address
        envelope.mail_from = address
        return "250 OK"

    async def handle_RCPT(self, server, session, envelope, address, options):
        name = address.split("@")[0]
        if name == "nobody":
            return "550 5.1.1 no such user"
        if name == "later":
            return "451 4.7.1 greylisted, come back later"
        if name == "slow":
            await asyncio.sleep(30)
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        name = envelope.rcpt_tos[0].split("@")[0]
        if name == "drop":
            say(event="dropped")
            server.transport.abort()
            await asyncio.sleep(30)
        if name == "spam":
            return "554 5.7.1 content refused"
        if name == "busy":
            return "451 4.3.0 try again"
        raw = envelope.original_content
        mail = email.message_from_bytes(raw, policy=email.policy.default)
        defects = [repr(defect) for part in mail.walk() for defect in part.defects]
        pictures = [
            [part["Content-ID"], part["Content-Disposition"], base64.b64encode(part.get_content()).decode()]
            for part in mail.walk()
            if part.get_content_maintype() == "image"
        ]
        texts = {
            part.get_content_subtype(): part.get_content()
            for part in mail.walk()
            if part.get_content_maintype() == "text"
        }
        tls = server.transport.get_extra_info("ssl_object")
        say(
            event="message",
            hello=session.host_name,
            sender=envelope.mail_from,
            recipients=envelope.rcpt_tos,
            user=session.auth_data.decode() if session.auth_data else None,
            tls=tls.version() if tls else None,
            headers=[[name, str(value)] for name, value in mail.items()],
            shape=shape(mail),
            texts=texts,
            pictures=pictures,
            defects=defects,
            raw=base64.b64encode(raw).decode(),
        )
        return "250 2.0.0 queued as 7B2"


async def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--tls", choices=["none", "starttls", "tls"], default="none")
    parser.add_argument("--cert")
    parser.add_argument("--key")
    parser.add_argument("--user")
    parser.add_argument("--password")
    parser.add_argument("--mechanism", choices=["PLAIN", "LOGIN"])
    args = parser.parse_args()

    context = None
    if args.tls != "none":
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(args.cert, args.key)

    def authenticate(server, session, envelope, mechanism, data):
        right = data.login == args.user.encode() and data.password == args.password.encode()
        return AuthResult(success=right, handled=False, auth_data=data.login)

    def session():
        return SMTP(
            Handler(),
            hostname="sink.example",
            tls_context=context if args.tls == "starttls" else None,
            require_starttls=args.tls == "starttls",
            authenticator=authenticate if args.user else None,
            auth_required=bool(args.user),
            auth_require_tls=args.tls == "starttls",
            auth_exclude_mechanism=[m for m in ("PLAIN", "LOGIN") if args.mechanism and m != args.mechanism],
        )

    at_once = context if args.tls == "tls" else None
    server = await asyncio.get_running_loop().create_server(session, "127.0.0.1", 0, ssl=at_once)
    say(port=server.sockets[0].getsockname()[1])
    await server.serve_forever()


asyncio.run(main())
