"""The Flask application: page, interface, and what guards both."""

import json
import logging
import re
from pathlib import Path

from apiflask import APIFlask, abort
from apiflask.exceptions import HTTPError
from flask import Response, jsonify, render_template, request

from shared.clock import Clock, SystemClock
from shared.errors import Refused
from shared.protocol.control_client import DeviceFault, DeviceGone
from web_ui.api import NoSuchThing, Parts, api
from web_ui.device_link import DeviceLink
from web_ui.legend_colours import percent_colours
from web_ui.newest_picture import NewestPicture
from web_ui.pairing import COOKIE, Pairing, TooManyTries, Unpaired

_log = logging.getLogger(__name__)

LONGEST_BODY_BYTES = 65_536

Answer = tuple[dict[str, str], int, dict[str, str]]

_OPEN_TO_ALL = {"page", "static", "api.pair_browser", "openapi.spec"}
_HOST = re.compile(r"([A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(:[0-9]{1,5})?")
_LINE_SCHEMA = {"type": "object", "properties": {"line": {"type": "string"}}, "required": ["line"]}


def create_app(
    *,
    run_folder: Path,
    data_folder: Path,
    pairing: Pairing,
    picture_port: int,
    clock: Clock | None = None,
) -> APIFlask:
    """Application over the imager of ``run_folder``; pictures stream from ``picture_port`` of the same host."""
    app = APIFlask(
        __name__, title="tapetum", version="1", spec_path="/api/v1/openapi.json", docs_path=None, json_errors=True
    )
    app.config.update(
        MAX_CONTENT_LENGTH=LONGEST_BODY_BYTES,
        VALIDATION_ERROR_STATUS_CODE=400,
        VALIDATION_ERROR_SCHEMA=_LINE_SCHEMA,
        HTTP_ERROR_SCHEMA=_LINE_SCHEMA,
        AUTO_SERVERS=False,
        SECURITY_SCHEMES={"session": {"type": "apiKey", "in": "cookie", "name": COOKIE}},
        DESCRIPTION="Interface of a handheld near-infrared fluorescence imager. Everything but pairing needs the session cookie.",
    )
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.extensions["tapetum"] = Parts(
        DeviceLink(run_folder / "control.sock"),
        pairing,
        NewestPicture(run_folder / "frame_bus", clock or SystemClock()),
        data_folder,
    )
    app.register_blueprint(api)
    _answer_errors(app)
    _guard(app, pairing, picture_port)

    @app.get("/")
    @app.doc(hide=True)
    def page() -> str:
        return render_template("index.html", picture_port=picture_port, percent_colours=percent_colours())

    return app


def close_app(app: APIFlask) -> None:
    """Hang up on the imager and the frame bus."""
    parts: Parts = app.extensions["tapetum"]
    parts.device.close()
    parts.pictures.close()


def _guard(app: APIFlask, pairing: Pairing, picture_port: int) -> None:
    @app.before_request
    def admit() -> None:
        """Refuse odd hosts, other sites' pages, and whoever is not paired."""
        if not _HOST.fullmatch(request.headers.get("Host", "")):
            abort(400, "the request names no usable host")
        if request.method not in ("GET", "HEAD", "OPTIONS") and not _own_page():
            abort(403, "the request comes from another site's page")
        if request.endpoint not in _OPEN_TO_ALL and not pairing.paired(request.cookies.get(COOKIE)):
            raise Unpaired("this browser is not paired; type the word that the device shows")
        if request.is_json:
            _check_json(request.get_data())

    @app.after_request
    def harden(response: Response) -> Response:
        """Nothing from elsewhere, nothing to elsewhere."""
        response.headers.update(_headers(picture_port))
        if request.endpoint == "static":
            response.headers["Cache-Control"] = "no-cache"
        return response


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


def _headers(picture_port: int) -> dict[str, str]:
    host = _HOST.fullmatch(request.headers.get("Host", ""))
    streams = f" ws://{host[1]}:{picture_port} wss://{host[1]}:{picture_port}" if host else ""
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
        "Cache-Control": "no-store",
    }


def _answer_errors(app: APIFlask) -> None:
    """The one map from what went wrong to status and line."""

    def line(status: int, text: str, headers: dict[str, str] | None = None) -> Answer:
        return {"line": text}, status, headers or {}

    app.register_error_handler(DeviceGone, lambda error: line(503, error.line))
    app.register_error_handler(DeviceFault, lambda error: line(500, error.line))
    app.register_error_handler(Refused, lambda error: line(400, error.line))
    app.register_error_handler(NoSuchThing, lambda error: line(404, str(error)))
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
