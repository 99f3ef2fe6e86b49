"""The settings in force as lines to be read: key, value, whether it differs from the vendor's, and the vendor's comment on it."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from shared.bounded import plain
from shared.protocol.device_facts import SettingLine
from shared.settings import Settings, load

_SECTION = re.compile(r"^\[([a-z_.]+)\]")
_COMMENTED = re.compile(r"^([a-z_]+) *= *[^#]*#\s*(.*)$")
_CONTINUED = re.compile(r"^\s+#\s*(.*)$")


def setting_lines(settings: Settings, vendor_file: Path) -> tuple[SettingLine, ...]:
    """Every key in the order of the file. Raises Refused where the vendor's file cannot be read."""
    vendor = dict(_flat(plain(load(vendor_file))))
    about = comments(vendor_file.read_text(encoding="utf-8"))
    return tuple(
        SettingLine(
            section, key, _text(value), value != vendor.get((section, key), value), about.get((section, key), "")
        )
        for (section, key), value in _flat(plain(settings))
    )


def comments(text: str) -> dict[tuple[str, str], str]:
    """What the file says of each key, by (section, key)."""
    found: dict[tuple[str, str], str] = {}
    section, last = "", None
    for line in text.splitlines():
        if header := _SECTION.match(line):
            section, last = header[1], None
        elif own := _COMMENTED.match(line):
            last = (section, own[1])
            found[last] = own[2].strip()
        elif (more := _CONTINUED.match(line)) and last is not None:
            found[last] += f" {more[1].strip()}"
        else:
            last = None
    return found


def _flat(values: Mapping[str, Any], section: str = "") -> Iterator[tuple[tuple[str, str], Any]]:
    inner = []
    for key, value in values.items():
        if isinstance(value, Mapping):
            inner.append((f"{section}.{key}".strip("."), value))
        else:
            yield (section, key), value
    for name, value in inner:
        yield from _flat(value, name)


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(_text(one) for one in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)
