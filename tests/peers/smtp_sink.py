"""A mail server that keeps what it is sent: aiosmtpd with TLS, a login, and answers it is told to give first.

Arguments: port, folder for its certificate authority, "starttls" or "smtps", answers ("451 later", "550 no") in order.
Says one line of JSON when it listens, and one for each message it took.
"""

import datetime
import email
import ipaddress
import json
import ssl
import sys
import time

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

port, folder, mode, answers = int(sys.argv[1]), sys.argv[2], sys.argv[3], sys.argv[4:]


def certificate(name, issuer, issuer_key, authority):
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.datetime.now(datetime.timezone.utc)
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)])
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer or subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=2))
        .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
    )
    if not authority:
        names = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))])
        builder = builder.add_extension(names, critical=False)
    return builder.sign(issuer_key or key, hashes.SHA256()), key


authority, authority_key = certificate("bench tests", None, None, True)
leaf, leaf_key = certificate("127.0.0.1", authority.subject, authority_key, False)
pem = serialization.Encoding.PEM
plain = (serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
with open(f"{folder}/ca.pem", "wb") as file:
    file.write(authority.public_bytes(pem))
with open(f"{folder}/leaf.pem", "wb") as file:
    file.write(leaf.public_bytes(pem) + leaf_key.private_bytes(pem, *plain))
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(f"{folder}/leaf.pem")


class Sink:
    async def handle_DATA(self, server, session, envelope):
        tried = email.message_from_bytes(envelope.content)
        answer = answers.pop(0) if answers else "250 taken"
        print(
            json.dumps(
                {
                    "answer": answer,
                    "tls": session.ssl is not None or mode == "smtps",
                    "user": session.auth_data.login.decode() if session.auth_data else None,
                    "from": envelope.mail_from,
                    "to": envelope.rcpt_tos,
                    "headers": dict(tried.items()),
                    "subject": str(email.header.make_header(email.header.decode_header(tried["Subject"]))),
                    "body": tried.get_payload(decode=True).decode(),
                }
            ),
            flush=True,
        )
        return answer


def authenticate(server, session, envelope, mechanism, data):
    known = data.login == b"bench" and data.password == b"a password of the tests"
    return AuthResult(success=known, auth_data=data)


how = {"tls_context": context, "require_starttls": True} if mode == "starttls" else {"ssl_context": context}
controller = Controller(
    Sink(), hostname="127.0.0.1", port=port, auth_required=True, authenticator=authenticate,
    auth_require_tls=mode == "starttls", **how,
)
controller.start()
print(json.dumps({"port": port, "ca": f"{folder}/ca.pem"}), flush=True)
while True:
    time.sleep(60)
