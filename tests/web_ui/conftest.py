import socket
from contextlib import suppress

import pytest
from flask.testing import FlaskClient

from shared.clock import SystemClock
from tests.web_ui.fake_device import FakeDevice
from web_ui.app import close_app, create_app
from web_ui.pairing import Pairing

WORD = "harbour-anchor-1234"
PICTURE_PORT = 8081
SITE = "http://tapetum.test:8080"


class Browser(FlaskClient):
    """A browser that has the page of ``SITE`` open."""

    def open(self, *arguments, **options):
        return super().open(*arguments, **{"base_url": SITE, **options})


@pytest.fixture
def run_folder(tmp_path):
    folder = tmp_path / "run"
    folder.mkdir()
    return folder


@pytest.fixture
def data_folder(tmp_path):
    folder = tmp_path / "data"
    folder.mkdir()
    return folder


@pytest.fixture
def device(run_folder, data_folder):
    with FakeDevice(run_folder, data_folder) as device:
        yield device


@pytest.fixture
def pairing():
    return Pairing(WORD, b"s" * 32, SystemClock())


@pytest.fixture
def app(run_folder, data_folder, pairing):
    app = create_app(run_folder=run_folder, data_folder=data_folder, pairing=pairing, picture_port=PICTURE_PORT)
    app.test_client_class = Browser
    yield app
    close_app(app)


@pytest.fixture
def stranger(app):
    """A browser that is not paired."""
    return app.test_client()


@pytest.fixture
def browser(app):
    """A paired browser."""
    client = app.test_client()
    assert client.post("/api/v1/pair", json={"word": WORD}).status_code == 200
    return client


@pytest.fixture
def port_pair():
    """A free port whose next one is free too."""
    while True:
        with socket.socket() as first, socket.socket() as second:
            first.bind(("127.0.0.1", 0))
            port = first.getsockname()[1]
            with suppress(OSError, OverflowError):
                second.bind(("127.0.0.1", port + 1))
                return port
