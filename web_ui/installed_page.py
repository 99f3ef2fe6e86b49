"""The page's own files as they were when the process started, under an address that tells one version of them from all others.

What lies there never changes, so a browser keeps it and asks no more; the page, which names the address, is asked for each time.
The service worker keeps the same files for when the device is away.
"""

import json
import mimetypes
import re
from collections.abc import Callable
from dataclasses import dataclass
from gzip import compress, decompress
from hashlib import sha256
from pathlib import Path
from posixpath import dirname, join, normpath

from shared.errors import Refused
from web_ui.catalogues import catalogue, languages

STATIC = Path(__file__).parent / "static"
WORKER = STATIC / "page" / "worker.js"
LIBRARIES = STATIC / "libraries"

_KEPT = {".js", ".css", ".svg", ".png", ".webmanifest"}
_FIRST_MODULES = ("page/page.js", "live/live_place.js")
"""What a page runs that nobody has sent elsewhere."""

_IMPORT = re.compile(r"""^(?:import|export)\b[^;"']*?["'](\.{1,2}/[^"']+)["'];""", re.MULTILINE)


@dataclass(frozen=True)
class PageFile:
    """A file as it is sent; a browser without gzip (there is none) gets it unpacked."""

    mimetype: str
    packed: bytes

    @property
    def content(self) -> bytes:
        """As it lies on the disk."""
        return decompress(self.packed)


class InstalledPage:
    """Files and version of the page. ``html`` gives its HTML for the address of its files and those that it needs first.

    Raises Refused where the libraries, which are not kept with the project, have not been brought.
    """

    def __init__(self, html: Callable[[str, list[str]], str]) -> None:
        if not any(LIBRARIES.glob("*/*.js")):
            raise Refused("the page's libraries are missing", str(LIBRARIES), "run make libraries in the checkout")
        contents = {path.relative_to(STATIC).as_posix(): path.read_bytes() for path in _files()}
        contents |= {f"words/{language}.ftl": catalogue(language).encode() for language in languages()}
        first = first_modules(contents)
        digest = sha256(WORKER.read_bytes() + html("", first).encode())
        for name, content in sorted(contents.items()):
            digest.update(f"{name}\0{sha256(content).hexdigest()}\n".encode())
        self.version = digest.hexdigest()[:16]
        self.address = f"/static/{self.version}"
        self.files = {name: PageFile(_type(name), compress(content, mtime=0)) for name, content in contents.items()}
        self.page = PageFile("text/html", compress(html(self.address, first).encode(), mtime=0))

    def worker(self) -> str:
        """The service worker's script."""
        files = [f"{self.address}/{name}" for name in sorted(self.files)]
        facts = f"self.KEPT = {json.dumps({'version': self.version, 'files': files})};"
        return f"{facts}\n{WORKER.read_text(encoding='utf-8')}"


def first_modules(contents: dict[str, bytes]) -> list[str]:
    """Names of all modules that run before the live picture shows: a browser told of them fetches them at once, not one by one."""
    found: list[str] = []
    waiting = list(_FIRST_MODULES)
    while waiting:
        name = waiting.pop(0)
        if name not in found:
            found.append(name)
            waiting += [normpath(join(dirname(name), one)) for one in _IMPORT.findall(contents[name].decode())]
    return found


def _files() -> list[Path]:
    return [path for path in STATIC.rglob("*") if path.suffix in _KEPT and path != WORKER]


def _type(name: str) -> str:
    known = {".js": "text/javascript", ".ftl": "text/plain", ".webmanifest": "application/manifest+json"}
    return known.get(Path(name).suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"
