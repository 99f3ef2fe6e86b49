"""The page's own files: kept by a browser for good, told from those of every other version, and never without its libraries."""

import re
from gzip import decompress

import pytest

from shared.errors import Refused
from web_ui import installed_page
from web_ui.catalogues import catalogue
from web_ui.installed_page import STATIC, InstalledPage, first_modules


@pytest.fixture
def address(stranger):
    """Where the page says that its files lie."""
    found = re.search(r'src="(/static/[0-9a-f]{16})/page/page\.js"', stranger.get("/").text)
    assert found is not None
    return found[1]


def test_a_file_is_what_lies_on_the_disk_and_is_kept_for_good(stranger, address):
    for name in ("page/page.js", "page/page.css", "icons/icon-192.png", "manifest.webmanifest"):
        packed = stranger.get(f"{address}/{name}", headers={"Accept-Encoding": "gzip"})
        plain = stranger.get(f"{address}/{name}")
        assert decompress(packed.data) == plain.data == (STATIC / name).read_bytes()
        assert packed.headers["Content-Encoding"] == "gzip"
        assert "Content-Encoding" not in plain.headers
        assert plain.mimetype == packed.mimetype
        assert plain.headers["Vary"] == "Accept-Encoding"
        assert "immutable" in plain.headers["Cache-Control"]
    assert stranger.get(f"{address}/words/de.ftl").text == catalogue("de")


def test_only_the_page_itself_is_asked_for_again_and_only_its_own_version_is_served(stranger, address):
    assert stranger.get("/").headers["Cache-Control"] == "no-store"
    assert stranger.get("/worker.js").headers["Cache-Control"] == "no-cache"
    for wrong in (f"{address}/page/none.js", f"{address}/page/worker.js", "/static/0123456789abcdef/page/page.js"):
        answer = stranger.get(wrong)
        assert answer.status_code == 404
        assert answer.headers["Cache-Control"] == "no-store"


def test_what_the_page_names_is_there(stranger, address):
    text = stranger.get("/").text
    named = re.findall(rf'"({address}/[^"]+)"', text)
    assert len(named) > 100
    assert {stranger.get(one).status_code for one in named} == {200}
    assert f"{address}/live/light_hold.js" in named, "fetched at once, though only other modules name it"
    assert f"{address}/review/review_place.js" not in named
    assert "/static/" not in text.replace(address, "")


def test_modules_are_followed_whatever_their_imports_look_like():
    contents = {
        "page/page.js": b'/** @import { A } from "./types.js" */\nimport {\n  a,\n} from "./a.js";\nimport "../b.js";\n',
        "live/live_place.js": b'export { c } from "./c.js";\nconst later = () => import("./later.js");\n',
        "page/a.js": b'import { page } from "./page.js";\n',
        "b.js": b"",
        "live/c.js": b'const text = `import "./no.js";`;\n',
    }
    assert sorted(first_modules(contents)) == sorted(contents)


def test_a_changed_file_makes_another_version(tmp_path, monkeypatch):
    before = InstalledPage(lambda address, _: f"{address}<p>page</p>")
    assert InstalledPage(lambda address, _: f"{address}<p>page</p>").version == before.version
    assert InstalledPage(lambda address, _: f"{address}<p>Page</p>").version != before.version
    monkeypatch.setattr(installed_page, "catalogue", lambda language: f"words = {language}\n")
    assert InstalledPage(lambda address, _: f"{address}<p>page</p>").version != before.version


def test_without_its_libraries_the_page_is_not_served(tmp_path, monkeypatch):
    monkeypatch.setattr(installed_page, "LIBRARIES", tmp_path)
    with pytest.raises(Refused, match="run make libraries"):
        InstalledPage(lambda *_: "<html></html>")
