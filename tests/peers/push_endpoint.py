"""A push service and the browser behind it: takes what the service sends, opens it with http_ece and holds the token
against py_vapid.

Says one line of JSON with its address and the browser's keys, then one for each message. /ok takes, /gone answers 410,
/missing 404, /later 429 with Retry-After.
"""

import base64
import http.server
import json
import threading

import http_ece
import py_vapid
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

key = ec.generate_private_key(ec.SECP256R1())
point = key.public_key().public_bytes(serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint)
auth = b"0123456789abcdef"
says = threading.Lock()
STATUS = {"/ok": 201, "/gone": 410, "/missing": 404, "/later": 429}


def text(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def padded(part):
    return base64.urlsafe_b64decode(part + "=" * (-len(part) % 4))


class Endpoint(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        # py_vapid reads the parameters without the blank RFC 9110 allows between them.
        token = self.headers["authorization"].replace(", ", ",")
        parts = dict(part.split("=", 1) for part in token.split(" ", 1)[1].split(","))
        heard = {
            "path": self.path,
            "plain": http_ece.decrypt(body, private_key=key, auth_secret=auth, version="aes128gcm").decode(),
            "sealed_size": len(body),
            "verified": py_vapid.Vapid02.verify(token),
            "claims": json.loads(padded(parts["t"].split(".")[1])),
            "key": parts["k"],
            "headers": {name.lower(): value for name, value in self.headers.items()},
        }
        # Two browsers are told at once, on a thread each: a line is whole before the next begins.
        with says:
            print(json.dumps(heard), flush=True)
        self.send_response(STATUS["/" + self.path.split("/")[1]])
        self.send_header("Retry-After", "90")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_):
        pass


server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Endpoint)
url = f"http://127.0.0.1:{server.server_port}"
print(json.dumps({"url": url, "p256dh": text(point), "auth": text(auth)}), flush=True)
server.serve_forever()
