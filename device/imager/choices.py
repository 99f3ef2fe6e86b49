"""What was chosen on the page, kept in the run folder, so that an imager that had to be restarted goes on where it was.

The run folder lives in memory until the next boot, and so does the clock that ``injections_ns`` are on.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from shared.bounded import Length, Within, filled, plain
from shared.errors import Refused
from shared.protocol.control import View
from shared.recording.durable import replace_file


@dataclass(frozen=True)
class Choices:
    """View, contours, reference and regions (as on the command line), when dye went in (ns of the sensor's clock), open case.

    ``for_calibration``: the imager ends on purpose, so that the next one has the newest calibration in force.
    """

    view: View = "relative"
    contours_percent: Annotated[tuple[float, ...], Within(1, 200), Length(0, 4)] = ()
    reference: str | None = None
    regions: tuple[str, ...] = ()
    injections_ns: tuple[int, ...] = ()
    case: Annotated[str, Length(0, 40)] = ""
    for_calibration: bool = False


class ChoicesFile:
    """The file at ``path``."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def keep(self, choices: Choices) -> None:
        """Replace what was kept. It survives the process, not a cut of power, and needs no more."""
        replace_file(self._path, json.dumps(plain(choices)).encode(), durable=False)

    def kept(self) -> Choices | None:
        """What an imager before this one kept, or None; raises Refused when the file is damaged."""
        try:
            text = self._path.read_bytes()
        except FileNotFoundError:
            return None
        try:
            values = json.loads(text)
        except ValueError:
            raise Refused(f"{self._path}: not JSON", remedy="set reference and regions again") from None
        return filled(Choices, values, str(self._path))
