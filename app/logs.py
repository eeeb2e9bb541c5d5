"""The program's own log: a few files in the room's folder that take each other's place, without anybody's name in them."""

from __future__ import annotations

import logging
import sys
import time
from logging.handlers import RotatingFileHandler
from pathlib import Path
from traceback import walk_tb
from types import TracebackType
from typing import Any

FOLDER, FILE_NAME = "logs", "blotter.log"
FILES, LARGEST = 5, 2_000_000


class NoValues(logging.Formatter):
    """Lines in UTC. Of an error its kind and where it was, but not what it said: that may be what somebody typed."""

    converter = staticmethod(time.gmtime)

    def formatException(self, ei: Any) -> str:  # noqa: N802
        """The kind of an error and the places through which it came, the last one last."""
        kind, _, trace = ei
        return "\n".join([f"  {kind.__name__}", *(f"  at {place}" for place in _places(trace))])


class Quiet(RotatingFileHandler):
    """A log that says once that it cannot be written, and lets the room go on."""

    told = False

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802
        """Say it the first time only: on a full disk it would be said with every request."""
        if not self.told:
            self.told = True
            print(f"The log {self.baseFilename} cannot be written. The room goes on without it.", file=sys.stderr)


def keep_log(data: Path, *more: logging.Logger) -> logging.Handler:
    """Keep the log in the room's folder from now on: 5 files of 2 MB at most. OSError where the folder cannot be made.

    `more` are the loggers of the libraries whose warnings and errors belong there too.
    """
    folder = data / FOLDER
    folder.mkdir(mode=0o700, exist_ok=True)
    handler = Quiet(folder / FILE_NAME, maxBytes=LARGEST, backupCount=FILES - 1, encoding="utf-8", delay=True)
    handler.setFormatter(NoValues("%(asctime)s.%(msecs)03dZ %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%S"))
    own = logging.getLogger("blotter")
    own.setLevel(logging.INFO)
    own.propagate = False
    for logger in (own, *more):
        logger.addHandler(handler)
    return handler


def _places(trace: TracebackType | None) -> list[str]:
    return [f"{frame.f_code.co_filename}:{line} {frame.f_code.co_name}" for frame, line in walk_tb(trace)]
