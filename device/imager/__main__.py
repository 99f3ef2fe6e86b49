"""``python -m device.imager``: put the parts together, serve the control socket, run the loop until asked to stop."""

import argparse
import gc
import logging
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import sdnotify

import device
from device.camera.source import EndOfFrames
from device.commissioning.cases import of_a_patient
from device.control_server import ControlServer
from device.controls import Controls, open_button
from device.imager.choices import ChoicesFile
from device.imager.commissioning_desk import CommissioningDesk
from device.imager.device_desk import DeviceDesk
from device.imager.exports import Exports
from device.imager.loop import ImagerLoop
from device.imager.operator_light import OperatorLight
from device.imager.papers import Papers
from device.imager.parts import Parts
from device.imager.requests import Requests
from device.imager.sources import open_source, with_calibration, with_measured_light
from device.imager.trip_log import TripLog
from device.imager.walks import Walks
from device.inflow_maps import LiveMaps
from device.light.lease import LeaseTerms
from device.light.link import LightLink
from device.live import LivePath, warm_up
from device.maps_reader import MapsReader
from device.recorder import Recorder
from device.spare_memory import give_back
from shared.clock import SystemClock
from shared.errors import Refused
from shared.frame_bus import FrameBusWriter
from shared.settings import Settings, changed, load

_log = logging.getLogger("imager")
_VENDOR_SETTINGS = Path(device.__path__[0]) / "settings.toml"


def main() -> int:
    """Exit 0 when stopped, 3 when a replayed clip is over, 2 when something was refused."""
    logging.basicConfig(format="imager: %(message)s", level=logging.INFO)
    options = _parser().parse_args()
    stop = threading.Event()
    try:
        settings = _settings(options)
        with _imager(options, settings, stop.set) as loop:
            # Only now is there anything to finish. Until then a signal ends the process at once, also while kernels compile.
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, lambda *_: stop.set())
            sdnotify.SystemdNotifier().notify("READY=1")
            _run(loop, stop)
    except Refused as refused:
        print(f"imager: {refused.line}", file=sys.stderr)
        return 2
    except EndOfFrames:
        _log.info("the clip is over")
        return 3
    return 0


def _run(loop: ImagerLoop, stop: threading.Event) -> None:
    """Feed systemd's watchdog from the loop itself: a loop that hangs is killed, and the light goes dark long before."""
    notifier = sdnotify.SystemdNotifier()
    watched = bool(os.environ.get("WATCHDOG_USEC"))
    turns = 0
    while not stop.is_set():
        loop.turn()
        turns += 1
        if watched and turns % 10 == 0:
            notifier.notify("WATCHDOG=1")
    notifier.notify("STOPPING=1")


@contextmanager
def _imager(options: argparse.Namespace, settings: Settings, end: Callable[[], None]) -> Iterator[ImagerLoop]:
    """Everything open, and closed again in an order that ends the light first. ``end`` ends the loop, to be started again."""
    clock = SystemClock()
    restarted = (options.run_dir / "frame_bus").exists()
    with ExitStack() as opened:
        warm_up()  # what it loads is shared with the reader
        gc.freeze()  # and stays so: the collector would write to it
        reader = MapsReader(multiprocessing.get_context("fork"))  # before there are threads, or much memory
        opened.callback(reader.close)
        source = with_measured_light(open_source(options, settings, clock), options.data_dir)
        source = with_calibration(source, options.data_dir)
        opened.callback(source.camera.close)
        recorder = Recorder(settings.recording, clock)
        opened.callback(recorder.close)
        recorder.prepare(source.camera.description)
        live = LivePath(source.calibration, settings.picture, "whole" if settings.picture.unlit_every else "steps")
        bus = opened.enter_context(FrameBusWriter(options.run_dir / "frame_bus"))
        exports = Exports(settings.recording.directory)
        opened.callback(exports.close)
        terms = LeaseTerms(settings.light.lease_ms, settings.light.longest_lease_ms)
        link = LightLink(options.run_dir / "light.sock", clock, terms)
        opened.callback(link.close)
        parts = Parts(
            source=source,
            link=link,
            light=OperatorLight(link, settings.light.levels, settings.light.hold_to_light, clock, restarted),
            live=live,
            recorder=recorder,
            bus=bus,
            clock=clock,
            settings=settings,
            data_folder=options.data_dir,
        )
        yield _wired(parts, exports, reader, opened, options, end)


def _wired(
    parts: Parts,
    exports: Exports,
    reader: MapsReader,
    opened: ExitStack,
    options: argparse.Namespace,
    end: Callable[[], None],
) -> ImagerLoop:
    loop = ImagerLoop(parts)
    walks = Walks(options.run_dir, parts.clock, parts.light.page_off)
    opened.callback(walks.close)
    papers = Papers(options.run_dir, parts.data_folder)
    opened.callback(papers.close)
    desk = CommissioningDesk(parts, walks, papers, end)
    loop.trips = TripLog(options.data_dir)
    opened.callback(loop.trips.close)
    about = DeviceDesk(parts, loop.trips, options.settings, options.settings_override)
    requests = Requests(parts, loop, exports, ChoicesFile(options.run_dir / "choices.json"), desk, about)
    opened.callback(requests.close)
    settings = parts.settings
    if parts.source.kind == "picamera":
        from device.light.pins import board_factory  # which reads pins: 5 MB that a simulated camera does without

        loop.controls = Controls(
            open_button(settings.button, board_factory()),
            requests,
            settings.button,
            hold_to_light=settings.light.hold_to_light,
            clock=parts.clock,
        )
        opened.callback(loop.controls.close)
    loop.maps = LiveMaps(
        parts.source.calibration,
        lambda: of_a_patient(parts.recorder.path),
        requests.marks,
        reader,
        options.run_dir / "maps",
        settings.picture.unlit_every > 0,
    )
    opened.callback(loop.maps.close)
    give_back()
    parts.source.camera.start()
    requests.restore()
    opened.enter_context(ControlServer(options.run_dir / "control.sock", requests.handle))
    opened.callback(parts.link.close)  # the first to close: answers that are still due do not keep it lit
    return loop


def _settings(options: argparse.Namespace) -> Settings:
    settings = load(options.settings, options.settings_override)
    folder = str(options.data_dir / "recordings")
    return changed(settings, recording={"directory": folder})


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m device.imager", description="Camera, live path and recorder.")
    parser.add_argument("--run-dir", type=Path, required=True, help="folder of control.sock, light.sock and frame_bus")
    parser.add_argument("--data-dir", type=Path, required=True, help="folder of recordings and stills")
    parser.add_argument("--settings", type=Path, default=_VENDOR_SETTINGS, help="vendor settings")
    parser.add_argument("--settings-override", type=Path, help="settings laid over them")
    parser.add_argument("--scene", help="simulate this scene (file, or name of a ready one)")
    parser.add_argument("--seed", type=int, default=0, help="seed of the simulated camera")
    parser.add_argument("--replay", type=Path, help="replay this recording, clip, stack or folder of pictures")
    parser.add_argument("--fps", type=float, help="frames a second of a clip that does not say")
    return parser


if __name__ == "__main__":
    sys.exit(main())
