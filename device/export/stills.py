"""Pictures of chosen moments with their legend, as PNG."""

from collections.abc import Callable

from PIL import Image
from PIL.PngImagePlugin import PngInfo

from device.export.delivery import Delivery
from device.export.overlay import Overlay
from shared.papers.words import Words
from shared.recording import Recording
from shared.settings import PictureSettings

_EVENLY = 6
AFTER_INJECTION_S = (15.0, 30.0, 60.0, 90.0, 120.0)


def moments_s(recording: Recording) -> tuple[float, ...]:
    """Seconds since the first frame: at each note and some times after injection, else six evenly spaced; and the last."""
    if not recording.frames:
        return ()
    first_ns, last_ns = (int(recording.frame_table.sensor_time_ns[i]) for i in (0, -1))
    end_s = (last_ns - first_ns) / 1e9
    wanted = {(event.time_ns - first_ns) / 1e9 for event in recording.events if event.kind == "note"}
    injected_ns = recording.injected_at_ns
    if injected_ns is None:
        wanted |= {end_s * share / _EVENLY for share in range(1, _EVENLY)}
    else:
        wanted |= {(injected_ns - first_ns) / 1e9 + after_s for after_s in AFTER_INJECTION_S}
    return tuple(sorted({round(s, 1) for s in wanted if 0 <= s < end_s - 0.05} | {end_s}))


def write_stills(
    filling: Delivery,
    recording: Recording,
    settings: PictureSettings,
    words: Words,
    on_progress: Callable[[float], None],
) -> tuple[list[str], str]:
    """Write the stills; returns their names, and a note where something could not be shown.

    Of a moment in the dark the next picture under light is kept.
    """
    overlay = Overlay(recording, settings)
    left = list(moments_s(recording))
    names: list[str] = []
    for shown in overlay.play():
        is_due = shown.time_s >= left[0] - 1e-6 and shown.is_lit
        if is_due or shown.is_last:
            while left and shown.time_s >= left[0] - 1e-6:
                left.pop(0)
            names.append(f"still-{len(names) + 1:02}-{shown.time_s:06.1f}s.png")
            _save(overlay.live.still(words), filling, names[-1], recording, words)
        on_progress(shown.done)
        if not left:
            break
    return names, "; ".join(f"stills: {note}" for note in overlay.notes)


def _save(picture: Image.Image, filling: Delivery, name: str, recording: Recording, words: Words) -> None:
    texts = PngInfo()
    texts.add_text("Title", recording.name)
    texts.add_text("Software", recording.software)
    texts.add_itxt("Warning", f"{words('caution-relative')} {words('caution-certified')}")
    picture.save(filling.make(name), "PNG", pnginfo=texts)
