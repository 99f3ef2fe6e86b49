"""The page as an installed web app: its service worker knows every file of the page, and one version made of what they all hold."""

import json
from hashlib import sha256
from pathlib import Path

from shared.errors import Refused
from web_ui.catalogues import catalogue, languages

STATIC = Path(__file__).parent / "static"
WORKER = STATIC / "page" / "worker.js"
LIBRARIES = STATIC / "libraries"

_KEPT = {".js", ".css", ".svg", ".png", ".webmanifest"}


class InstalledPage:
    """Files and version of the page as it was when the process started; ``page`` is the HTML of the page without its version.

    Raises Refused where the libraries, which are not kept with the project, have not been brought.
    """

    def __init__(self, page: str) -> None:
        if not any(LIBRARIES.glob("*/*.js")):
            raise Refused("the page's libraries are missing", str(LIBRARIES), "run make libraries in the checkout")
        contents = {f"/static/{path.relative_to(STATIC).as_posix()}": path.read_bytes() for path in _files()}
        contents |= {f"/words/{language}.ftl": catalogue(language).encode() for language in languages()}
        contents["/"] = page.encode()
        digest = sha256(WORKER.read_bytes())
        for address, content in sorted(contents.items()):
            digest.update(f"{address}\0{sha256(content).hexdigest()}\n".encode())
        self.files = sorted(contents)
        self.version = digest.hexdigest()[:16]

    def worker(self) -> str:
        """The service worker's script."""
        facts = f"self.KEPT = {json.dumps({'version': self.version, 'files': self.files})};"
        return f"{facts}\n{WORKER.read_text(encoding='utf-8')}"


def _files() -> list[Path]:
    return [path for path in STATIC.rglob("*") if path.suffix in _KEPT and path != WORKER]
