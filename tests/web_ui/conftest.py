import socket
from contextlib import suppress
from functools import cache

import pytest
from flask.testing import FlaskClient

from shared.clock import SystemClock
from tests.web_ui.fake_device import FakeDevice
from web_ui import installed_page
from web_ui.access import Access
from web_ui.app import close_app, create_app
from web_ui.device_link import DeviceLink

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


@pytest.fixture(scope="session", autouse=True)
def _packed_once():
    """The page's files are the same for every application: to pack them took longer than to make all the rest of one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(installed_page, "compress", cache(installed_page.compress))
        yield


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
def link(run_folder):
    return DeviceLink(run_folder / "control.sock")


@pytest.fixture
def access(run_folder, link):
    return Access.kept_in(run_folder, link, SystemClock(), WORD)


@pytest.fixture
def app(run_folder, data_folder, access, link):
    app = create_app(
        run_folder=run_folder,
        data_folder=data_folder,
        access=access,
        device=link,
        picture_port=PICTURE_PORT,
        names=["tapetum.test"],
    )
    app.test_client_class = Browser
    yield app
    close_app(app)


@pytest.fixture
def stranger(app):
    """A browser that is not paired."""
    return app.test_client()


def paired(app):
    """One more browser that knows the word."""
    client = app.test_client()
    assert client.post("/api/v1/pair", json={"word": WORD}).json == {"paired": True}
    return client


@pytest.fixture
def browser(app):
    """The browser that was paired first, and controls."""
    return paired(app)


@pytest.fixture
def viewer(app, browser):
    """The one after it, which watches."""
    return paired(app)


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
