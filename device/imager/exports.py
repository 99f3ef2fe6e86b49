"""Export jobs as niced child processes, so that writing files never takes time from the live picture."""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from shared.errors import Refused
from shared.protocol.control import ExportJob

KEPT_JOBS = 8
NICENESS = 10
STOP_PATIENCE_S = 5.0


class Exports:
    """Runs one export at a time and remembers the last few. Safe from several threads."""

    def __init__(self, recordings: Path, command: Sequence[str] = (sys.executable, "-m", "device")) -> None:
        self._recordings = recordings
        self._command = tuple(command)
        self._lock = threading.Lock()
        self._jobs: list[ExportJob] = []
        self._process: subprocess.Popen[str] | None = None
        self._thread: threading.Thread | None = None

    @property
    def jobs(self) -> tuple[ExportJob, ...]:
        """Newest last."""
        with self._lock:
            return tuple(self._jobs)

    def start(self, recording: str, formats: Sequence[str], target: Path) -> ExportJob:
        """Begin; raises Refused while another one runs, or where there is no such recording or folder."""
        source = self._recordings / f"{recording}.zarr"
        if "/" in recording or recording.startswith(".") or not source.is_dir():
            raise Refused("no such recording", recording, "choose one from the list")
        if not target.is_dir():
            raise Refused("no such folder to export to", str(target), "plug in a drive, or name a folder that exists")
        with self._lock:
            if self._process is not None:
                raise Refused("an export is running", self._jobs[-1].recording, "wait until it is finished")
            number = self._jobs[-1].number + 1 if self._jobs else 1
            job = ExportJob(number, recording, str(target), 0.0, False)
            arguments = [*self._command, "export", str(source), str(target), "--as", ",".join(formats), "--json"]
            self._process = subprocess.Popen(
                ["nice", "-n", str(NICENESS), *arguments],  # noqa: S607 - coreutils, wherever it lives
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
                env={**os.environ, "NUMBA_NUM_THREADS": "1"},
            )
            self._jobs = [*self._jobs[1 - KEPT_JOBS :], job]
            self._thread = threading.Thread(target=self._follow, args=(self._process,), name="export", daemon=True)
            self._thread.start()
            return job

    def close(self) -> None:
        """End a running export (it leaves nothing half written) and wait for its thread."""
        with self._lock:
            process, thread = self._process, self._thread
        if process is not None:
            process.terminate()
            try:
                process.wait(STOP_PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
        if thread is not None:
            thread.join()

    def _follow(self, process: subprocess.Popen[str]) -> None:
        assert process.stderr is not None
        assert process.stdout is not None
        words = ""
        for line in process.stderr:
            done = _share(line)
            if done is None:
                words = line.strip() or words
            else:
                self._change(done=done)
        printed = process.stdout.read()
        code = process.wait()
        process.stderr.close()
        process.stdout.close()
        if code != 0:
            line = words.removeprefix("tapetum: ") or f"the export ended with status {code}"
            self._change(finished=True, error=line)
        else:
            result = json.loads(printed)
            files = tuple(f"{result['folder']}/{one['name']}" for one in result["files"])
            self._change(done=1.0, finished=True, files=files)

    def _change(self, **fields: Any) -> None:
        """Of the job that runs. It makes room for the next one in the same step in which it is finished."""
        with self._lock:
            self._jobs = [*self._jobs[:-1], replace(self._jobs[-1], **fields)]
            if self._jobs[-1].finished:
                self._process = None


def _share(line: str) -> float | None:
    """Share done, where ``line`` is ``{"done": 0.4}``."""
    try:
        values = json.loads(line)
    except ValueError:
        return None
    done = values.get("done") if isinstance(values, dict) else None
    return float(done) if isinstance(done, int | float) else None
