"""What a certificate is known by on the screens of device and tablet."""

import ssl
from hashlib import sha256


def fingerprint_of(pem: bytes) -> str:
    """SHA-256 of a certificate, as tablets show it."""
    return sha256(ssl.PEM_cert_to_DER_cert(pem.decode("ascii"))).digest().hex(":").upper()
