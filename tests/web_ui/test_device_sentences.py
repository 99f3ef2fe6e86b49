"""Every sentence of the device that may reach a page is in the page's catalogues, and recognised there by the page's own code.

What is English here comes from the source; German and Spanish are compared with it only as far as a program can.
"""

import errno
import itertools
import json
import os
import re
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from shared.optics.exposure_limits import LIMITS
from shared.papers.words import words_in
from tests.web_ui.device_sentences import HOME, Said, constants, sentences

SILENT = {
    "device/cli": "speaks to a terminal",
    "device/demo.py": "starts the rehearsal, from a terminal",
    "device/supervisor.py": "the same",
    "device/kernels.py": "the same: it compiles before tests and before a first start",
    "device/simulate.py": "makes recordings, from a terminal",
    "device/footage_import.py": "imports recordings, from a terminal",
    "device/parts_plot.py": "draws for whoever builds one",
    "device/light_plot.py": "the same",
    "device/light_limits.py": "the same",
    "device/camera/clip.py": "read before the imager answers anyone",
    "device/camera/stack.py": "the same",
    "device/camera/footage.py": "the same",
    "device/camera/raw_format.py": "the same",
    "device/light/service.py": "speaks to its log",
    "device/light/sensors/kernel_file.py": "the same: a page hears only that a sensor is silent",
    "device/light/sensors/thermistor.py": "the same",
    "shared/scene": "scenes are read before the imager answers anyone",
    "shared/optics": "speaks to whoever builds one, but for the names of its limits, which are asked for below",
    "shared/pins.py": "read before anything is driven",
    "shared/frame_bus.py": "made before the imager answers anyone",
    "shared/inflow/curves.py": "refuses a mistake of the program",
    "shared/lanes.py": "names operations of a compiler",
    "web_ui/__main__.py": "says why it does not start, to its log",
    "web_ui/certificate.py": "the same",
    "web_ui/page_server.py": "the same",
    "web_ui/installed_page.py": "the same",
    "web_ui/picture_message.py": "refuses a mistake of the program",
}
"""Modules of which no page hears a word, and why."""

HEARD = {
    "device/cli/asked_regions.py",
    "device/cli/calibrate.py",
    "device/cli/check.py",
    "device/cli/export.py",
} | {"shared/optics/light_output.py"}
"""Of these, what children of the imager run: their last line is why there is no result."""

ONLY_REFUSES = {
    "device/cli": "help of its commands, and tables for a terminal",
    "device/certificate.py": "the rest is printed",
    "device/certificate_plots.py": "printed",
    "device/target_sheets.py": "printed",
    "device/comparison_files.py": "drawn into files",
    "device/export": "written into files",
    "device/commissioning/check.py": "the page has a guide of its own, more than these lines",
    "device/commissioning/dark_step.py": "the same",
    "device/commissioning/dye_steps.py": "the same",
    "device/commissioning/flat_step.py": "the same",
    "device/commissioning/gain_step.py": "the same",
    "device/commissioning/optics_steps.py": "the same",
    "device/recording_index.py": "SQL",
    "device/imager/__main__.py": "help of its command",
    "device/light/__main__.py": "the same",
    "device/light/sensors/__main__.py": "the same",
    "shared/legend.py": "drawn into pictures",
    "shared/inflow/map_pictures.py": "drawn into pictures",
    "shared/inflow/map_values.py": "described in files",
    "shared/inflow/maps_store.py": "described in files",
    "shared/recording/table.py": "described in files",
    "web_ui/operation.py": "the interface's own description",
    "web_ui/pair_words.py": "words to pair by, the same for all",
    "web_ui/review_api.py": "heads of tables",
    "web_ui/tls_front.py": "speaks plain HTTP to a browser that has no page yet",
}
"""Modules whose other texts are no sentences for a page, and what they are."""

NOT_SHOWN = {
    "a connection could not be accepted: {}",
    "a second imager was turned away",
    "all {} frame buffers are lent: leave a frame's with before taking the next",
    "dark though lit",
    "lit though dark",
    "looking through recordings",
    "lost by the camera",
    "operator wants light",
    "pictures are at /pictures",
    "recordings of different cases: none and none",
    "recorder too slow",
    "say: drawn N, or clock N",
    "the camera is not started",
    "the end of its sensors",
    "the replay is not started",
    "the simulated camera is not started",
    "{} {}; trying again, and the heartbeat has stopped",
}
"""Names of threads, conditions and causes, lines of logs, mistakes of the program, and what cannot be."""


@dataclass(frozen=True)
class Heard:
    """A line as the page recognised it: its message, what stood in its holes, and both translations."""

    id: str
    values: list[str]
    de: str
    es: str


@pytest.fixture(scope="module")
def said() -> list[Said]:
    found = [one for path in _modules() if _is_heard(path) for one in sentences(path)]
    assert len([one for one in found if one.is_line]) > 300
    return found


@pytest.fixture(scope="module")
def english() -> dict[str, str]:
    """Messages of the English catalogues of the device's sentences."""
    text = "\n".join(path.read_text() for path in (HOME / "web_ui/static/words/en").glob("said-*.ftl"))
    return dict(re.findall(r"^(said-[\w-]+) = (.*)$", text, re.MULTILINE))


def test_every_refusal_is_known_to_the_page_word_for_word(said):
    numbers = itertools.count(1001)
    lines, values = [], []
    for one in (one for one in said if one.is_line):
        first, *rest = one.template.split("{}")
        values.append([str(next(numbers)) for _ in rest])
        lines.append(first + "".join(value + piece for value, piece in zip(values[-1], rest, strict=True)))
    where = [one.where for one in said if one.is_line]
    wrong = [
        f"{place}: {line} -> {found.id or 'no message'} {found.values}"
        for place, line, wanted, found in zip(where, lines, values, _heard(lines), strict=True)
        if not found.id or re.findall(r"\w+", " ".join(found.values)) != wanted
    ]
    assert not wrong, "words/*/said-*.ftl lack what the device says:\n" + "\n".join(wrong)


def test_every_other_sentence_is_in_the_catalogues_or_known_not_to_be_shown(said, english):
    scripts = "".join(path.read_text() for path in (HOME / "web_ui/static").rglob("*.js"))
    whole = "\n".join(re.sub(r"\{[^}]*\}", "\0", text) for text in english.values())
    missing = [
        f"{one.where}: {one.template}"
        for one in said
        if not one.is_line
        and not _is_in(one.where, ONLY_REFUSES)
        and one.template not in NOT_SHOWN
        and f'"{one.template}"' not in scripts
        and not re.search(".*".join(map(re.escape, _pieces(one.template))), whole)
    ]
    assert not missing, "words/*/said-*.ftl lack what the device says:\n" + "\n".join(missing)


def test_no_message_outlives_its_sentence(said, english):
    sources = "\n".join([*map(constants, _modules()), *(one.template.replace("{}", "\0") for one in said), *_given()])
    unused = [key for key, text in english.items() if not all(piece in sources for piece in _pieces(text))]
    assert not unused


def test_what_comes_from_tables_and_from_the_kernel_is_known():
    lines = _given()
    unknown = [line for line, found in zip(lines, _heard(lines), strict=True) if not found.id]
    assert not unknown


def test_a_line_within_a_line_is_said_too_and_numbers_as_the_language_writes_them():
    trip = "the camera's frames stopped coming (frame 17 is older than a lease)"
    hot = "the LEDs are at 61.5 °C, limit 60 °C: let them cool below 55 °C"
    limit = "skin, heat (IEC 62471:2006 4.3.8), at 60% and 250 mm"
    level = f"the limit of exposure is reached ({limit}): wait, dim the light, or move away"
    own = (
        "a recording cannot be opened: /data/cover.zarr: cannot be read (Input/output error); copy the recording again"
    )
    first, second, third, fourth = _heard([trip, hot, level, own])
    assert first.de == "von der Kamera kommen keine Bilder mehr (Bild 17 ist älter als eine Frist)"
    assert "61,5\N{NO-BREAK SPACE}°C" in second.de
    assert "61,5\N{NO-BREAK SPACE}°C" in second.es
    assert "(Haut, Wärme (IEC 62471:2006 4.3.8), bei 60\N{NO-BREAK SPACE}% und 250\N{NO-BREAK SPACE}mm)" in third.de
    assert fourth.de.startswith(
        "eine Aufnahme lässt sich nicht öffnen: /data/cover.zarr: lässt sich nicht lesen (Ein-/Ausgabefehler)"
    )


def test_the_rooms_light_in_baselines_is_said_in_each_language():
    share = (
        "the room's light is at least 27 ± 3 % of the signal before the dye, as the hand's motion tells; only what that motion "
        "changed is taken off"
    )
    untold = "how much of the signal before the dye is the room's light cannot be told: its uncertainty allows for that"
    told, open_ = _heard([share, untold])
    assert told.values == ["27", "3"]
    assert (
        "mindestens 27\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}3\N{NO-BREAK SPACE}% des Signals vor dem Farbstoff"
        in told.de
    )
    assert (
        "al menos el 27\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}3\N{NO-BREAK SPACE}% de la señal antes del colorante"
        in told.es
    )
    assert "lässt sich nicht erkennen" in open_.de
    assert "no se puede saber" in open_.es
    for language, one in (("de", told.de), ("es", told.es)):
        assert words_in(language).said(share) == one.replace("\N{NO-BREAK SPACE}", " ")


def test_a_refusal_says_in_each_language_what_helps():
    """Dye that locks exposure says for how long, a trip how the light is armed again, a moment which form it needs."""
    locked = (
        "exposure is locked for the run: dye went in 292 s ago, which locks it for 308 s more, with or without a recording; "
        "the light may still be dimmed by hand"
    )
    tripped = "the light has tripped: the door is open; put that right, then: tapetum light rearm"
    moment = "no moment: x; name one that `tapetum dye CASE --json` lists, such as 2026-11-25T12:00:00+00:00"
    dye, trip, mark = _heard([locked, tripped, moment])
    assert dye.values == ["292", "308"]
    assert "vor 292\N{NO-BREAK SPACE}s gegeben, was sie noch 308\N{NO-BREAK SPACE}s lang sperrt" in dye.de
    assert "hace 292\N{NO-BREAK SPACE}s, lo que la bloquea 308\N{NO-BREAK SPACE}s más" in dye.es
    assert trip.de.startswith("das Licht ist gesperrt: ")
    assert trip.de.endswith("; beheben Sie das, und geben Sie dann das Licht frei")
    assert trip.es.startswith("la luz está bloqueada: ")
    assert trip.es.endswith("; corríjalo y después rearme la luz")
    assert mark.de == "kein Zeitpunkt: x; nennen Sie einen aus der Liste, etwa 2026-11-25T12:00:00+00:00"
    assert mark.es == "no es un momento: x; indique uno de la lista, como 2026-11-25T12:00:00+00:00"


def test_what_the_page_does_not_know_is_shown_in_english_and_marked():
    (found,) = _heard(["nothing that any program of ours says"])
    assert found.de == "Auf Englisch: nothing that any program of ours says"
    assert found.es == "En inglés: nothing that any program of ours says"


def _modules() -> list[Path]:
    every = [path for folder in ("shared", "device", "web_ui") for path in sorted((HOME / folder).rglob("*.py"))]
    return [one for one in every if "node_modules" not in one.parts]


def _is_heard(path: Path) -> bool:
    name = path.relative_to(HOME).as_posix()
    return name in HEARD or not _is_in(name, SILENT)


def _is_in(where: str, listed: dict[str, str]) -> bool:
    return any(where == one or where.startswith((f"{one}/", f"{one}:")) for one in listed)


def _given() -> list[str]:
    """Names of limits, and what the kernel says where it is common."""
    kernel = (errno.ENOSPC, errno.EIO, errno.EACCES, errno.EROFS, errno.ENOENT, errno.ECONNREFUSED, errno.ECONNRESET)
    return [
        *(limit.sentence for limit in LIMITS),
        *(limit.words for limit in LIMITS),
        *(os.strerror(number) for number in (*kernel, errno.EPIPE, errno.ENODEV, errno.EAGAIN)),
    ]


def _pieces(template: str) -> list[str]:
    """The constant pieces of a template, or of a message, in order."""
    pieces = (piece.strip(" :;,()") for piece in re.split(r"\{[^}]*\}|; ", template))
    return [piece for piece in pieces if piece]


def _heard(lines: Sequence[str]) -> list[Heard]:
    """The lines as the page's own code hears and says them."""
    answer = subprocess.run(
        ["node", "page_tests/recognise.js"],
        cwd=HOME / "web_ui",
        input=json.dumps(lines),
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={**os.environ, "PATH": f"{HOME / '.venv/bin'}:{os.environ['PATH']}"},
    )
    return [Heard(**one) for one in json.loads(answer.stdout)]
