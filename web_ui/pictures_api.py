"""The interface under /api/v1/ to the newest picture, for whoever cannot have the stream: one at a time, or a multipart stream."""

from apiflask import APIBlueprint, FileSchema
from flask import Response, current_app, request

from web_ui.button_press import Busy
from web_ui.operation import operation, parts, session
from web_ui.picture_message import numbered_header, prefix
from web_ui.picture_parts import BOUNDARY, LONGEST_S, MOST_AT_ONCE, PictureParts
from web_ui.sessions import COOKIE

pictures_api = APIBlueprint("pictures", __name__, url_prefix="/api/v1", tag="pictures")


@pictures_api.get("/picture.jpg")
@pictures_api.output(FileSchema(), content_type="image/jpeg")
@operation(pictures_api, "The newest picture, however old: X-Age-Ms says how old", "watches")
def get_picture() -> Response:
    """For any software; a page takes the message."""
    newest = parts().pictures.look()
    response = Response(newest.picture.jpeg, mimetype="image/jpeg")
    response.headers["X-Age-Ms"] = str(newest.age_ms)
    response.headers["X-Sequence"] = str(newest.picture.sequence)
    return response


@pictures_api.get("/picture")
@pictures_api.output(FileSchema(), content_type="application/octet-stream")
@operation(pictures_api, "The newest picture with its header, as one message of the stream", "watches")
def get_picture_message() -> Response:
    """Four bytes "tpm1", age in ms, length of the header (both 32 bits, little-endian), the header as JSON, the JPEG."""
    newest = parts().pictures.look()
    parts().access.roles.page_looked(session())
    header = numbered_header(newest.picture)
    return Response(
        b"".join((prefix(newest.age_ms, header), header, newest.picture.jpeg)), mimetype="application/octet-stream"
    )


@pictures_api.get("/pictures.mjpeg")
@pictures_api.output(FileSchema(), content_type="multipart/x-mixed-replace")
@operation(pictures_api, "Pictures one after the other, newest wins (multipart/x-mixed-replace)", "watches")
def get_pictures() -> Response:
    """For other software. What waits in the network on the way is not counted in X-Age-Ms: over a slow one pictures are later."""
    pictures, sessions, token = parts().pictures, parts().access.sessions, request.cookies.get(COOKIE)
    found = PictureParts.where_there_is_room(
        pictures.bus_path,
        pictures.clock,
        lambda: sessions.of(token) is not None,
        current_app.config.get("LONGEST_STREAM_S", LONGEST_S),
    )
    if found is None:
        raise Busy(f"at most {MOST_AT_ONCE} such streams at once; close one, or ask for single pictures")
    return Response(found, mimetype=f"multipart/x-mixed-replace; boundary={BOUNDARY}")
