"""Pictures for whoever cannot have the stream: single ones, the stream's own message, a multipart stream (RFC 2046, 5.1)."""

import email.parser
import io
import json
import struct
from pathlib import Path

import pytest
from PIL import Image

from shared.clock import SystemClock
from shared.frame_bus import FrameBusWriter
from tests.conftest import ManualClock
from tests.web_ui.test_api import line_of
from web_ui.picture_parts import BOUNDARY, LONGEST_S, MOST_AT_ONCE, SILENT_S, PictureParts


def first_answer(browser, path):
    answer = browser.get(path)
    while answer.status_code == 503:  # the fake imager has not published yet
        answer = browser.get(path)
    return answer


def test_message_is_that_of_the_stream(device, browser):
    data = first_answer(browser, "/api/v1/picture").data
    magic, age_ms, header_bytes = struct.unpack_from("<4sII", data)
    assert magic == b"tpm1"
    assert age_ms < 60_000
    header = json.loads(data[12 : 12 + header_bytes])
    assert header["publication"] > 0
    assert header["width"] == 1456
    assert Image.open(io.BytesIO(data[12 + header_bytes :])).size == (1456, 1088)


def test_parts_are_whole_pictures_in_order(app, device, browser):
    first_answer(browser, "/api/v1/picture.jpg")
    app.config["LONGEST_STREAM_S"] = 0.5
    answer = browser.get("/api/v1/pictures.mjpeg")
    assert answer.mimetype == "multipart/x-mixed-replace"
    assert answer.mimetype_params == {"boundary": BOUNDARY}
    whole = b"Content-Type: multipart/mixed; boundary=picture\r\n\r\n" + answer.data + b"--picture--\r\n"
    parts = email.parser.BytesParser().parsebytes(whole).get_payload()
    assert len(parts) >= 3
    sequences = [int(part["X-Sequence"]) for part in parts]
    assert sequences == sorted(set(sequences))
    for part in parts:
        jpeg = part.get_payload(decode=True)
        assert part.get_content_type() == "image/jpeg"
        assert jpeg[: int(part["Content-Length"])].startswith(b"\xff\xd8")
        assert int(part["X-Age-Ms"]) < 60_000


def test_only_a_few_at_once_and_a_place_is_free_again(app, device, browser):
    first_answer(browser, "/api/v1/picture.jpg")
    held = [browser.get("/api/v1/pictures.mjpeg") for _ in range(MOST_AT_ONCE)]
    assert "at most 2 such streams" in line_of(browser.get("/api/v1/pictures.mjpeg"), 409)
    held.pop().close()
    again = browser.get("/api/v1/pictures.mjpeg")
    assert again.status_code == 200
    for answer in (*held, again):
        answer.close()


def test_who_is_parted_from_gets_no_more(tmp_path: Path, manual_clock: ManualClock):
    welcome = True
    with FrameBusWriter(tmp_path / "bus", 100) as bus:
        parts = PictureParts.where_there_is_room(tmp_path / "bus", manual_clock, lambda: welcome, LONGEST_S)
        assert parts is not None
        read = iter(parts)
        bus.publish(b"{}", b"one", sequence=1, published_ns=manual_clock.now_ns())
        assert b"one" in next(read)
        welcome = False
        manual_clock.advance_ms(1500)
        bus.publish(b"{}", b"two", sequence=2, published_ns=manual_clock.now_ns())
        assert list(read) == []
        parts.close()
        parts.close()


def test_a_slow_reader_gets_the_newest_and_a_silent_bus_ends_it(tmp_path: Path):
    class Clock(SystemClock):
        ahead_ns = 0

        def now_ns(self) -> int:
            return super().now_ns() + self.ahead_ns

    clock = Clock()
    with FrameBusWriter(tmp_path / "bus", 100) as bus:
        parts = PictureParts.where_there_is_room(tmp_path / "bus", clock, lambda: True, LONGEST_S)
        assert parts is not None
        read = iter(parts)
        for number in range(1, 6):
            bus.publish(b"{}", b"%d" % number, sequence=number, published_ns=clock.now_ns())
        assert b"X-Sequence: 5" in next(read)
        clock.ahead_ns = int((SILENT_S + 1) * 1e9)
        assert list(read) == []
        parts.close()


@pytest.mark.parametrize("path", ["picture", "picture.jpg", "pictures.mjpeg"])
def test_strangers_get_none(stranger, path):
    line_of(stranger.get(f"/api/v1/{path}"), 401)
