"""The certificate that the device makes for its page: an authority of its own, which tablets trust once, and the page's under it.

The authority may vouch only for the names and addresses that the device had when it was made, and for private addresses (RFC 5280,
section 4.2.1.10): a key that was stolen opens nobody else's site. Keys are ECDSA on P-256 and readable by nobody else. The page's
certificate runs 800 days (tablets take at most 825) and is renewed when half is left, or when names or addresses change: a board
without a battery behind its clock may be months late, and its certificate must be good on a tablet that knows the time.
"""

import datetime
import ipaddress
import os
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from shared.errors import Refused
from web_ui.fingerprint import fingerprint_of
from web_ui.sessions import keep_secret

Address = ipaddress.IPv4Address | ipaddress.IPv6Address

PAGE_DAYS = 800
RENEW_DAYS_LEFT = 400
AUTHORITY_DAYS = 20 * 365
_EARLIER = datetime.timedelta(days=2)
_PRIVATE = (
    "127.0.0.0/8",
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "::1/128",
    "fc00::/7",
    "fe80::/10",
)


@dataclass(frozen=True)
class Subject:
    """Whom the page's certificate names."""

    names: tuple[str, ...]
    addresses: tuple[Address, ...]

    @classmethod
    def of(cls, names: Sequence[str], addresses: Sequence[str]) -> "Subject":
        """From names and addresses as text."""
        found = {ipaddress.ip_address(text.partition("%")[0]) for text in addresses}
        return cls(tuple(sorted(set(names))), tuple(sorted(found, key=lambda one: (one.version, int(one)))))

    def general_names(self) -> list[x509.GeneralName]:
        """As in a certificate."""
        return [*map(x509.DNSName, self.names), *map(x509.IPAddress, self.addresses)]


class PageCertificate:
    """Authority and page certificate in ``folder``, made when missing. Raises Refused when the folder cannot hold them."""

    def __init__(self, folder: Path, subject: Subject, now: datetime.datetime) -> None:
        self._folder = folder
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if not (self._authority_key_path.exists() and self.authority_path.exists()):
                self._make_authority(subject, now)
            self.renew(subject, now)
        except OSError as error:
            raise Refused(
                "no place for the page's certificate",
                f"{folder} ({error.strerror})",
                "give a --state-dir that can be written",
            ) from None
        except ValueError as error:
            raise Refused(
                "not a key or certificate", f"{folder} ({error})", "remove the folder; tablets must trust anew"
            ) from None

    @property
    def authority_path(self) -> Path:
        """Certificate of the authority, PEM: what tablets trust."""
        return self._folder / "authority.pem"

    @property
    def page_path(self) -> Path:
        """Key, certificate and authority in one file, so that they change as one."""
        return self._folder / "page.pem"

    @property
    def _authority_key_path(self) -> Path:
        return self._folder / "authority.key"

    @property
    def authority_pem(self) -> bytes:
        """What tablets trust."""
        return self.authority_path.read_bytes()

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate, as tablets show it."""
        return fingerprint_of(self.authority_pem)

    def renew(self, subject: Subject, now: datetime.datetime) -> bool:
        """Make a new page certificate if it is due or names someone else; whether there is a new one."""
        if self.page_path.exists() and self._good(subject, now):
            return False
        authority = x509.load_pem_x509_certificate(self.authority_pem)
        subject = _vouched(subject, authority)
        signer = serialization.load_pem_private_key(self._authority_key_path.read_bytes(), None)
        assert isinstance(signer, ec.EllipticCurvePrivateKey)
        key = ec.generate_private_key(ec.SECP256R1())
        certificate = (
            _draft(_named("tapetum page"), authority.subject, key, now, PAGE_DAYS)
            .add_extension(x509.SubjectAlternativeName(subject.general_names()), critical=False)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(signs_certificates=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
            .sign(signer, hashes.SHA256())
        )
        pem = certificate.public_bytes(serialization.Encoding.PEM) + self.authority_pem
        keep_secret(self.page_path, _private_pem(key) + pem.decode())
        return True

    def context(self) -> ssl.SSLContext:
        """For servers: TLS 1.2 and later. ``load_into`` gives it a renewed certificate."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.load_into(context)
        return context

    def load_into(self, context: ssl.SSLContext) -> None:
        """Connections from now on get the newest certificate."""
        context.load_cert_chain(self.page_path)

    def _good(self, subject: Subject, now: datetime.datetime) -> bool:
        page = x509.load_pem_x509_certificate(self.page_path.read_bytes())
        subject = _vouched(subject, x509.load_pem_x509_certificate(self.authority_pem))
        named = page.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        left = page.not_valid_after_utc - now
        return list(named) == subject.general_names() and datetime.timedelta(days=RENEW_DAYS_LEFT) < left

    def _make_authority(self, subject: Subject, now: datetime.datetime) -> None:
        key = ec.generate_private_key(ec.SECP256R1())
        name = _named(f"tapetum {os.urandom(3).hex()}")
        private = [ipaddress.ip_network(net) for net in _PRIVATE]
        others = [ipaddress.ip_network(one) for one in subject.addresses if not any(one in net for net in private)]
        allowed = [*map(x509.DNSName, subject.names), *map(x509.IPAddress, (*private, *others))]
        certificate = (
            _draft(name, name, key, now, AUTHORITY_DAYS)
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(_usage(signs_certificates=True), critical=True)
            .add_extension(x509.NameConstraints(allowed, None), critical=True)
            .sign(key, hashes.SHA256())
        )
        keep_secret(self._authority_key_path, _private_pem(key))
        keep_secret(self.authority_path, certificate.public_bytes(serialization.Encoding.PEM).decode())
        self.page_path.unlink(missing_ok=True)


def _vouched(subject: Subject, authority: x509.Certificate) -> Subject:
    """The same without names and addresses for which the authority may not vouch: one of them would spoil the whole certificate."""
    constraints = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = [one.value for one in constraints.permitted_subtrees or ()]
    nets = [one for one in permitted if isinstance(one, ipaddress.IPv4Network | ipaddress.IPv6Network)]
    return Subject(
        tuple(one for one in subject.names if one in permitted),
        tuple(one for one in subject.addresses if any(one in net for net in nets)),
    )


def _draft(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime.datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(now - _EARLIER + datetime.timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _private_pem(key: ec.EllipticCurvePrivateKey) -> str:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    ).decode()
