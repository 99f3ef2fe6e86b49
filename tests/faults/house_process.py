"""All processes of the demo under the demo's own parent, with the odd guard and the odd imager in their places.

``python -m tests.faults.house_process RUN_DIR DATA_DIR PORT SCENE SETTINGS`` prints the ready line of ``tapetum demo --json``.
"""

import json
import sys
from dataclasses import replace
from pathlib import Path

from device.demo import Place, children, run_device

ODD = {"device.light": "tests.faults.odd_guard", "device.imager": "tests.faults.odd_imager"}


def main(run_dir: str, data_dir: str, port: str, scene: str, settings: str) -> None:
    """Run until stopped."""
    place = Place(Path(run_dir), Path(data_dir), "127.0.0.1", int(port))
    parts = children(place, ["--scene", scene], True, Path(settings))
    odd = [replace(child, arguments=[ODD.get(word, word) for word in child.arguments]) for child in parts]
    run_device(
        place,
        odd,
        lambda url, word: print(json.dumps({"url": url, "pair": word}), flush=True),
        lambda line: print(line, file=sys.stderr, flush=True),
        None,
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
