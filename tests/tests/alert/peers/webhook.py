"""A receiver of webhooks for the tests, by the standardwebhooks and cloudevents libraries.

Prints one JSON object a line: first its port, then each request as those
libraries read it. The path says what it answers: /ok 204, /busy 429, /down 503
with a date, /error 500, /bad 400, /gone 410, /moved 302, /slow late.
"""

import argparse
import json
import ssl
import time
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from standardwebhooks import Webhook


def say(**what):
    print(json.dumps(what), flush=True)


class Server(ThreadingHTTPServer):
    # A client that hangs up, or does not trust the certificate, is what some tests are about.
    def handle_error(self, *_):
        pass


class Receiver(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    secrets = []

    def log_message(self, *_):
        pass

    def answer(self, status, body=b"", **headers):
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self):
        say(path=self.path, method="GET")
        self.answer(200, b"OK")

    def do_POST(self):
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        headers = dict(self.headers.items())
        verified = []
        for secret in self.secrets:
            try:
                Webhook(secret).verify(body, headers)
                verified.append(True)
            except Exception as error:
                verified.append(str(error))
        event = None
        if body:
            read = from_http_event(HTTPMessage({k.lower(): v for k, v in headers.items()}, body))
            event = {name: str(value) for name, value in read.get_attributes().items()}
            event["data"] = read.get_data()
        say(path=self.path, method="POST", headers=headers, verified=verified, event=event)
        if self.path == "/slow":
            time.sleep(30)
        now = time.time()
        answers = {
            "/busy": lambda: self.answer(429, b"too many", Retry_After="7"),
            "/down": lambda: self.answer(503, Retry_After=formatdate(now + 90, usegmt=True)),
            "/error": lambda: self.answer(500, b"<h1>it broke\r\n\x1b[31mreally</h1>"),
            "/bad": lambda: self.answer(400, b"no such tenant"),
            "/gone": lambda: self.answer(410),
            "/moved": lambda: self.answer(302, Location="/ok"),
        }
        answers.get(self.path, lambda: self.answer(204))()


parser = argparse.ArgumentParser()
parser.add_argument("--cert")
parser.add_argument("--key")
parser.add_argument("--secret", action="append", default=[])
args = parser.parse_args()
Receiver.secrets = args.secret
server = Server(("127.0.0.1", 0), Receiver)
if args.cert:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(args.cert, args.key)
    server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
say(port=server.server_address[1])
server.serve_forever()
