"""The imager's own ``main`` on a camera that goes wrong when ordered; run with the imager's own options."""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import device.imager.__main__ as imager
from device.imager.sources import Source, open_source
from shared.clock import Clock
from shared.settings import Settings
from tests.faults import wall_clock
from tests.faults.odd_camera import OddCamera
from tests.faults.orders import Orders

ORDERS = Orders(Path(sys.argv[sys.argv.index("--run-dir") + 1]))


def odd_source(options: argparse.Namespace, settings: Settings, clock: Clock) -> Source:
    """The source asked for, its camera under orders."""
    source = open_source(options, settings, clock)
    return replace(source, camera=OddCamera(source.camera, ORDERS))


def main() -> int:
    """Run the imager."""
    wall_clock.jumps_on(ORDERS)
    imager.open_source = odd_source
    return imager.main()


if __name__ == "__main__":
    sys.exit(main())
