"""The Flask application: page, interface, and what guards both."""

import json
import logging
from collections.abc import Iterable
from pathlib import Path

from apiflask import APIFlask, abort
from apiflask.exceptions import HTTPError
from flask import Response, g, jsonify, render_template, request

from shared.clock import Clock, SystemClock
from shared.errors import Refused
from shared.protocol.control_client import DeviceFault, DeviceGone
from web_ui.access import Access
from web_ui.access_api import access_api
from web_ui.api import api
from web_ui.button_press import Busy
from web_ui.commissioning_api import commissioning_api
from web_ui.compare_api import compare_api
from web_ui.curves_api import curves_api
from web_ui.device_api import device_api
from web_ui.device_link import DeviceLink
from web_ui.dye_api import dye_api
from web_ui.export_api import export_api
from web_ui.installed_page import InstalledPage, PageFile
from web_ui.legend_colours import percent_colours
from web_ui.newest_picture import NewestPicture
from web_ui.operation import NoSuchThing, Parts, Watches, needs_of
from web_ui.own_names import OwnNames, own_names
from web_ui.pairing import Unpaired
from web_ui.pictures_api import pictures_api
from web_ui.records_api import records_api
from web_ui.review_api import forget_maps, review_api
from web_ui.review_runs import ReviewRuns
from web_ui.sessions import COOKIE
from web_ui.throttle import TooManyTries

_log = logging.getLogger(__name__)

LONGEST_BODY_BYTES = 65_536

Answer = tuple[dict[str, str], int, dict[str, str]]

_OPEN_TO_ALL = {"page", "file", "worker", "openapi.spec"}
_A_YEAR_S = 31_536_000
"""The longest that is of use (RFC 9111, section 1.2.2, asks no more than 2^31)."""
_LINE_SCHEMA = {"type": "object", "properties": {"line": {"type": "string"}}, "required": ["line"]}


def create_app(
    *,
    run_folder: Path,
    data_folder: Path,
    access: Access,
    device: DeviceLink,
    picture_port: int,
    names: Iterable[str] | None = None,
    certificate: bytes | None = None,
    clock: Clock | None = None,
) -> APIFlask:
    """Application over the imager of ``run_folder``; pictures stream from ``picture_port`` of the same host.

    ``names`` are the host names by which a page may call this device (None: the machine's own), ``certificate`` the one to trust.
    """
    app = APIFlask(
        __name__,
        static_folder=None,  # type: ignore[arg-type]  # Flask takes None; the page's files are served by their version
        title="tapetum",
        version="1",
        spec_path="/api/v1/openapi.json",
        docs_path=None,
        json_errors=True,
    )
    app.config.update(
        MAX_CONTENT_LENGTH=LONGEST_BODY_BYTES,
        VALIDATION_ERROR_STATUS_CODE=400,
        VALIDATION_ERROR_SCHEMA=_LINE_SCHEMA,
        HTTP_ERROR_SCHEMA=_LINE_SCHEMA,
        AUTO_SERVERS=False,
        SECURITY_SCHEMES={"session": {"type": "apiKey", "in": "cookie", "name": COOKIE}},
        DESCRIPTION="Interface of a handheld near-infrared fluorescence imager. Everything but pairing needs the session cookie. "
        "One browser controls, the others watch; x-needs says what an operation needs.",
    )
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.extensions["tapetum"] = Parts(
        device, access, NewestPicture(run_folder / "frame_bus", clock or SystemClock()), data_folder, certificate
    )
    app.extensions["tapetum review"] = ReviewRuns(data_folder / "recordings", at_rest=forget_maps)
    app.register_blueprint(access_api)
    app.register_blueprint(api)
    app.register_blueprint(records_api)
    app.register_blueprint(dye_api)
    app.register_blueprint(export_api)
    app.register_blueprint(compare_api)
    app.register_blueprint(curves_api)
    app.register_blueprint(pictures_api)
    app.register_blueprint(review_api)
    app.register_blueprint(commissioning_api)
    app.register_blueprint(device_api)
    _answer_errors(app)
    _guard(app, access, OwnNames(own_names() if names is None else names), picture_port)

    _serve_page(app, picture_port)
    return app


def _serve_page(app: APIFlask, picture_port: int) -> None:
    def html(address: str, first: list[str]) -> str:
        version = address.rpartition("/")[2]
        facts = {"picture_port": picture_port, "percent_colours": percent_colours()}
        return render_template("index.html", files=address, first_modules=first, version=version, **facts)

    with app.app_context():
        installed = InstalledPage(html)

    @app.get("/")
    @app.doc(hide=True)
    def page() -> Response:
        return _sent(installed.page)

    @app.get("/static/<version>/<path:name>")
    @app.doc(hide=True)
    def file(version: str, name: str) -> Response:
        """Open to all: the pairing page needs them. Of another version there is none: halves of two pages do not fit together."""
        if version != installed.version or name not in installed.files:
            abort(404)
        response = _sent(installed.files[name])
        response.headers["Cache-Control"] = f"public, max-age={_A_YEAR_S}, immutable"
        return response

    @app.get("/worker.js")
    @app.doc(hide=True)
    def worker() -> Response:
        """The service worker, at the root: it may keep only what lies below its own address."""
        response = Response(installed.worker(), mimetype="text/javascript")
        response.headers["Cache-Control"] = "no-cache"
        return response


def _sent(file: PageFile) -> Response:
    packed = request.accept_encodings["gzip"] > 0
    response = Response(file.packed if packed else file.content, mimetype=file.mimetype)
    if packed:
        response.content_encoding = "gzip"
    response.vary.add("Accept-Encoding")
    return response


def close_app(app: APIFlask) -> None:
    """Hang up on the imager and the frame bus."""
    parts: Parts = app.extensions["tapetum"]
    parts.access.close()
    parts.device.close()
    parts.pictures.close()
    app.extensions["tapetum review"].close()


def _guard(app: APIFlask, access: Access, names: OwnNames, picture_port: int) -> None:
    @app.before_request
    def admit() -> None:
        """Refuse odd hosts, other sites' pages, whoever is not paired, and whoever watches but wants to change something."""
        g.host = names.host_of(request.headers.get("Host", ""))
        if g.host is None:
            abort(400, "this device has another name; open the address that it shows")
        if request.method not in ("GET", "HEAD", "OPTIONS") and not _own_page():
            abort(403, "the request comes from another site's page")
        if request.endpoint not in _OPEN_TO_ALL:
            _admit_session(access)
        if request.is_json:
            _check_json(request.get_data())

    @app.after_request
    def harden(response: Response) -> Response:
        """Nothing from elsewhere, nothing to elsewhere."""
        may_be_kept = request.endpoint in ("file", "worker") and response.status_code == 200
        if not may_be_kept:
            response.headers["Cache-Control"] = "no-store"
        response.headers.update(_headers(g.get("host"), picture_port))
        return response


def _admit_session(access: Access) -> None:
    needs = needs_of(request.endpoint)
    if needs == "nothing":
        return
    g.session = access.sessions.of(request.cookies.get(COOKIE))
    if g.session is None:
        raise Unpaired("this browser is not paired; type the word that the device shows, or press its button")
    if needs == "controls" and request.endpoint is not None and not access.may_act(g.session):
        raise Watches("this tablet watches; ask for control first")


def _check_json(body: bytes) -> None:
    """Refuse what is not JSON, nested past all measure, or holds numbers of thousands of digits.

    The framework's own reader, which comes next, knows only the first of these.
    """
    try:
        json.loads(body or b"null")
    except (ValueError, RecursionError) as error:
        raise Refused(f"the body is not JSON that can be read ({error})", remedy="send one plain JSON object") from None


def _own_page() -> bool:
    """Whether a browser says the request comes from a page of this very origin. Programs that are no browsers say nothing."""
    if request.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
        return False
    origin = request.headers.get("Origin")
    return origin is None or origin == f"{request.scheme}://{request.host}"


def _headers(host: str | None, picture_port: int) -> dict[str, str]:
    scheme = "wss" if request.is_secure else "ws"
    streams = f" {scheme}://{host}:{picture_port}" if host else ""
    policy = {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "font-src": "'self'",
        "manifest-src": "'self'",
        "worker-src": "'self'",
        "img-src": "'self' blob: data:",
        "connect-src": f"'self'{streams}",
        "base-uri": "'none'",
        "form-action": "'none'",
        "frame-ancestors": "'none'",
    }
    return {
        "Content-Security-Policy": "; ".join(f"{key} {value}" for key, value in policy.items()),
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "camera=(), microphone=(), geolocation=(), usb=(), screen-wake-lock=(self), fullscreen=(self)",
    }


def _answer_errors(app: APIFlask) -> None:
    """The one map from what went wrong to status and line."""

    def line(status: int, text: str, headers: dict[str, str] | None = None) -> Answer:
        return {"line": text}, status, headers or {}

    app.register_error_handler(DeviceGone, lambda error: line(503, error.line))
    app.register_error_handler(DeviceFault, lambda error: line(500, error.line))
    app.register_error_handler(Refused, lambda error: line(400, error.line))
    app.register_error_handler(NoSuchThing, lambda error: line(404, str(error)))
    app.register_error_handler(Watches, lambda error: line(403, str(error)))
    app.register_error_handler(Busy, lambda error: line(409, str(error)))
    app.register_error_handler(Unpaired, lambda error: line(401, str(error)))
    app.register_error_handler(TooManyTries, lambda error: line(429, str(error), {"Retry-After": str(error.wait_s)}))

    @app.error_processor
    def http(error: HTTPError) -> Response:
        response = jsonify(line=_plain_line(error))
        response.status_code = error.status_code
        response.headers.extend(error.headers)
        return response

    @app.errorhandler(Exception)
    def unexpected(error: Exception) -> Answer:
        _log.exception("%s %s failed", request.method, request.path, exc_info=error)
        return line(500, "the page's server failed; its log says why")


def _plain_line(error: HTTPError) -> str:
    if error.status_code == 413:
        return f"the body is too long; at most {LONGEST_BODY_BYTES} bytes"
    if error.status_code == 415:
        return "the body must be JSON; send Content-Type: application/json"
    detail = f"; {error.detail}" if error.detail else ""
    return " ".join(f"{error.message}{detail}".split())[:400]
