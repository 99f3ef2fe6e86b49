"""HTTPS and the certificate that the device makes, judged by Python's TLS client, the cryptography library's verifier, openssl."""

import asyncio
import datetime
import http.client
import ipaddress
import json
import socket
import ssl
import stat
import subprocess

import pytest
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store
from websockets.asyncio.client import connect

from shared.errors import Refused
from tests.web_ui.fake_device import FakeDevice
from tests.web_ui.test_web_process import WORD, web
from web_ui.certificate import PAGE_DAYS, RENEW_DAYS_LEFT, PageCertificate, Subject

NOW = datetime.datetime(2031, 5, 4, 9, 0, tzinfo=datetime.UTC)
SUBJECT = Subject.of(
    ["quay", "quay.local", "localhost"], ["127.0.0.1", "10.42.0.1", "fd00::7", "fe80::1%wlan0", "203.0.113.9"]
)
TABLETS = "0.0.0.0"
"""Every address of this machine: anything but loopback is served encrypted."""


@pytest.fixture
def made(tmp_path):
    return PageCertificate(tmp_path / "page", SUBJECT, NOW)


def page_of(certificate):
    return x509.load_pem_x509_certificate(certificate.page_path.read_bytes())


def named(certificate):
    names = page_of(certificate).extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return {str(one.value) for one in names}


def test_it_names_the_devices_names_and_addresses(made):
    addresses = {"127.0.0.1", "10.42.0.1", "fd00::7", "fe80::1", "203.0.113.9"}
    assert named(made) == {"quay", "quay.local", "localhost"} | addresses


def test_what_the_authority_may_not_vouch_for_is_left_out_and_spoils_nothing(made):
    moved = Subject.of(["pier", "pier.local", "localhost"], ["10.42.0.2", "198.51.100.7"])
    assert made.renew(moved, NOW)
    assert named(made) == {"localhost", "10.42.0.2"}
    assert not made.renew(moved, NOW)
    verifier = PolicyBuilder().store(Store([x509.load_pem_x509_certificate(made.authority_pem)])).time(NOW)
    verifier.build_server_verifier(x509.IPAddress(ipaddress.ip_address("10.42.0.2"))).verify(page_of(made), [])


def test_the_verifier_of_another_library_takes_it_for_each_name_and_no_other(made):
    """RFC 5280 path validation and RFC 6125 names, as pyca/cryptography implements them."""
    authority = x509.load_pem_x509_certificate(made.authority_pem)
    builder = PolicyBuilder().store(Store([authority])).time(NOW)
    for name in (*map(x509.DNSName, SUBJECT.names), *map(x509.IPAddress, SUBJECT.addresses)):
        builder.build_server_verifier(name).verify(page_of(made), [])
    for name in (x509.DNSName("evil.test"), x509.IPAddress(ipaddress.ip_address("198.51.100.7"))):
        with pytest.raises(x509.verification.VerificationError):
            builder.build_server_verifier(name).verify(page_of(made), [])


def test_openssl_takes_it_and_sees_the_constraint(made):
    at = str(int(NOW.timestamp()))
    command = ["openssl", "verify", "-x509_strict", "-attime", at, "-purpose", "sslserver", "-CAfile"]
    done = subprocess.run([*command, made.authority_path, made.page_path], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    text = subprocess.run(
        ["openssl", "x509", "-in", made.authority_path, "-noout", "-text", "-fingerprint", "-sha256"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert "X509v3 Name Constraints: critical" in text
    assert made.fingerprint in text


def test_a_stolen_key_opens_nobody_elses_site(made, tmp_path):
    """openssl signs for a foreign name with the authority's key, and then refuses what it signed."""
    folder, request, page = made.page_path.parent, tmp_path / "request.pem", tmp_path / "foreign.pem"
    key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", str(tmp_path / "key.pem")]
    subprocess.run(
        ["openssl", "req", "-new", *key, "-subj", "/CN=x", "-addext", "subjectAltName=DNS:evil.test", "-out", request],
        check=True,
        capture_output=True,
    )
    signer = ["-CA", folder / "authority.pem", "-CAkey", folder / "authority.key", "-CAcreateserial"]
    subprocess.run(
        ["openssl", "x509", "-req", "-in", request, *signer, "-copy_extensions", "copy", "-out", page],
        check=True,
        capture_output=True,
    )
    command = ["openssl", "verify", "-CAfile", made.authority_path, "-no_check_time", page]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "permitted subtree violation" in done.stderr


def test_keys_are_nobody_elses_and_tablets_accept_the_length(made):
    for name in ("authority.key", "page.pem"):
        assert stat.S_IMODE((made.page_path.parent / name).stat().st_mode) == 0o600
    assert stat.S_IMODE(made.page_path.parent.stat().st_mode) == 0o700
    page = page_of(made)
    # Apple, "Requirements for trusted certificates in iOS 13 and macOS 10.15" (support.apple.com/103769): at most 825 days,
    # a name in the subject alternative name, and ExtendedKeyUsage serverAuth.
    assert page.not_valid_after_utc - page.not_valid_before_utc <= datetime.timedelta(days=825)
    usage = page.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]


def test_it_is_renewed_in_time_under_the_same_authority(made):
    first, trusted = page_of(made), made.fingerprint
    assert not made.renew(SUBJECT, NOW + datetime.timedelta(days=PAGE_DAYS - RENEW_DAYS_LEFT - 3))
    assert page_of(made) == first
    later = NOW + datetime.timedelta(days=PAGE_DAYS - RENEW_DAYS_LEFT)
    assert made.renew(SUBJECT, later)
    assert page_of(made).not_valid_after_utc > first.not_valid_after_utc
    assert made.fingerprint == trusted
    assert made.renew(Subject.of(["quay"], ["10.42.0.9"]), later), "another address is another certificate"


def test_a_second_start_makes_nothing_new(made):
    again = PageCertificate(made.page_path.parent, SUBJECT, NOW)
    assert page_of(again) == page_of(made)


def test_a_spoiled_key_is_refused_by_name(made):
    made.page_path.write_text("nothing")
    with pytest.raises(Refused, match="remove the folder"):
        PageCertificate(made.page_path.parent, SUBJECT, NOW)


@pytest.fixture
def served(run_folder, port_pair):
    with FakeDevice(run_folder), web(run_folder, port_pair, more=("--host", TABLETS)) as (process, ready):
        trusting = ssl.create_default_context(cafile=str(run_folder / "page" / "authority.pem"))
        yield port_pair, ready, trusting, process


def ask(port, trusting, method="GET", path="/", body=None, **headers):
    connection = http.client.HTTPSConnection("127.0.0.1", port, timeout=10, context=trusting)
    connection.request(method, path, None if body is None else json.dumps(body), headers)
    answer = connection.getresponse()
    text = answer.read()
    connection.close()
    return answer, text


def cookie_of(port, trusting):
    answer, _ = ask(port, trusting, "POST", "/api/v1/pair", {"word": WORD}, **{"Content-Type": "application/json"})
    assert answer.status == 200
    assert "Secure" in answer.headers["Set-Cookie"]
    return answer.headers["Set-Cookie"].partition(";")[0]


def test_page_and_pictures_come_encrypted_to_whoever_trusts_the_device(served, run_folder):
    port, ready, trusting, process = served
    assert ready["url"].startswith("https://")
    answer, text = ask(port, trusting)
    assert answer.status == 200
    assert b"pairing-word" in text
    assert f"wss://127.0.0.1:{port + 1}" in answer.headers["Content-Security-Policy"]
    _, pem = ask(port, trusting, path="/api/v1/certificate.pem")
    assert pem == (run_folder / "page" / "authority.pem").read_bytes()
    assert ready["fingerprint"] == (run_folder / "fingerprint").read_text().strip()
    cookie = cookie_of(port, trusting)

    async def watch():
        url, origin = f"wss://127.0.0.1:{port + 1}/pictures", f"https://127.0.0.1:{port}"
        headers = {"Cookie": cookie}
        async with connect(url, origin=origin, additional_headers=headers, proxy=None, ssl=trusting) as page:
            async with asyncio.timeout(20):
                pictures = 0
                while pictures < 10:
                    message = await page.recv()
                    if isinstance(message, bytes):
                        assert message.endswith(b"\xff\xd9")
                        pictures += 1
                        header = json.loads(message[12 : 12 + int.from_bytes(message[8:12], "little")])
                        await page.send(f"drawn {header['publication']}")
                process.terminate()
                await page.wait_closed()
                assert page.close_code == 1001

    asyncio.run(watch())
    assert process.wait(10) == 0
    assert process.stderr.read() == ""


def test_words_in_encrypted_records_of_their_own_are_all_heard(served):
    """Many short frames, each its own TLS record, arrive in one read of the socket."""
    port, _, trusting, _ = served
    cookie = cookie_of(port, trusting)

    async def talk():
        url, origin = f"wss://127.0.0.1:{port + 1}/pictures", f"https://127.0.0.1:{port}"
        headers = {"Cookie": cookie}
        async with connect(url, origin=origin, additional_headers=headers, proxy=None, ssl=trusting) as page:
            for _ in range(40):
                for _ in range(20):
                    await page.send("drawn 0")
                async with asyncio.timeout(20):
                    await (await page.ping())

    asyncio.run(talk())


def test_without_encryption_or_trust_tablets_get_nothing(served):
    port, _, _, _ = served
    with pytest.raises(ssl.SSLCertVerificationError):
        ask(port, ssl.create_default_context())
    old = ssl.create_default_context()
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises((ssl.SSLError, ConnectionResetError)):
        ask(port, old)


def said_plainly(port, text):
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        connection.sendall(text)
        answer = b""
        while piece := connection.recv(4096):
            answer += piece
    return answer


def test_who_comes_unencrypted_is_sent_to_the_same_page_encrypted(served):
    port, _, _, _ = served
    plain = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    plain.request("GET", "/?x=1")
    answer = plain.getresponse()
    assert (answer.status, answer.headers["Location"]) == (307, f"https://127.0.0.1:{port}/?x=1")
    assert b"cookie" not in str(answer.headers).lower().encode()
    plain.close()


@pytest.mark.parametrize(
    "text",
    [
        b"POST / HTTP/1.1\r\nHost: quay\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: quay\\evil.test\r\n\r\n",
        b"GET //evil.test\x01 HTTP/1.1\r\nHost: quay\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost:\r\n\r\n",
        b"GET / HTTP/1.1\r\nX: " + b"a" * 9000 + b"\r\nHost: quay\r\n\r\n",
    ],
)
def test_nobody_is_sent_to_an_address_that_is_none(served, text):
    answer = said_plainly(served[0], text)
    assert answer.startswith(b"HTTP/1.1 400 ")
    assert b"Location" not in answer


def test_tries_count_by_tablet_and_not_for_all_as_one(served):
    """The front passes on who asks: two addresses of this machine have tries of their own."""
    port, _, trusting, _ = served

    def status(own_address):
        connection = http.client.HTTPSConnection(
            "127.0.0.1", port, timeout=10, context=trusting, source_address=(own_address, 0)
        )
        connection.request("POST", "/api/v1/pair", '{"word": "wrong"}', {"Content-Type": "application/json"})
        found = connection.getresponse().status
        connection.close()
        return found

    assert [status("127.0.0.1") for _ in range(6)] == [400] * 5 + [429]
    assert status("127.0.0.2") == 400


def test_a_tablet_that_says_nothing_holds_up_nobody(served):
    port, _, trusting, _ = served
    with socket.create_connection(("127.0.0.1", port)), socket.create_connection(("127.0.0.1", port + 1)):
        assert ask(port, trusting)[0].status == 200
