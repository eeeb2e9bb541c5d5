"""The log as an event log in XES: one trace for each sheet, one event for each entry of its log.

Source: IEEE 1849-2016, XES: a log declares its extensions (concept, time, lifecycle, organizational), what every trace and
event has, and by what events are told apart; its elements are in the order that the standard's schema gives them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from xml.sax.saxutils import quoteattr
from zoneinfo import ZoneInfo

_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_EXTENSIONS = (("Concept", "concept"), ("Time", "time"), ("Lifecycle", "lifecycle"), ("Organizational", "org"))
END = "</log>\n"


@dataclass(frozen=True, slots=True)
class Event:
    """One entry: which, what was done when, at which station, and the stage in which the sheet stood after it.

    `workers` are their numbers, none where they are not told. `taken_back` and `corrects` are told only where everything is.
    """

    entry: int
    step: str
    at: datetime
    station: str = ""
    stage: str = ""
    workers: tuple[str, ...] = ()
    taken_back: bool = False
    corrects: int | None = None


def head(name: str, *, with_workers: bool) -> str:
    """The beginning of a log up to its first trace."""
    extensions = "".join(
        f'  <extension name="{words}" prefix="{prefix}" uri="http://www.xes-standard.org/{prefix}.xesext"/>\n'
        for words, prefix in _EXTENSIONS
    )
    resource = _string("org:resource", "unknown", 4) if with_workers else ""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<log xes.version="1849.2016" xes.features="">\n'
        f'{extensions}  <global scope="trace">\n{_string("concept:name", "unknown", 4)}  </global>\n'
        f'  <global scope="event">\n{_string("concept:name", "unknown", 4)}'
        '    <date key="time:timestamp" value="1970-01-01T00:00:00+00:00"/>\n'
        f'{_string("lifecycle:transition", "complete", 4)}{resource}  </global>\n'
        '  <classifier name="Step" scope="event" keys="concept:name lifecycle:transition"/>\n'
        f'{_string("concept:name", name, 2)}{_string("lifecycle:model", "standard", 2)}'
    )  # fmt: skip


def trace(name: str, about: Iterable[tuple[str, str]], events: Sequence[Event], zone: ZoneInfo) -> str:
    """One sheet with its events, in their order; moments with the offset that the room's clocks had."""
    told = "".join(_string(key, text, 4) for key, text in about if text)
    return f"  <trace>\n{_string('concept:name', name, 4)}{told}{''.join(_event(each, zone) for each in events)}  </trace>\n"


def _event(event: Event, zone: ZoneInfo) -> str:
    at = event.at.astimezone(zone).isoformat()
    parts = [
        _string("concept:name", event.step, 6), f'      <date key="time:timestamp" value="{at}"/>\n',
        _string("lifecycle:transition", "complete", 6), f'      <int key="entry" value="{event.entry}"/>\n',
    ]  # fmt: skip
    parts += [_string(key, text, 6) for key, text in (("stage", event.stage), ("station", event.station)) if text]
    if event.workers:
        parts.append(_string("org:resource", " & ".join(event.workers), 6))
    if event.taken_back:
        parts.append('      <boolean key="taken-back" value="true"/>\n')
    if event.corrects is not None:
        parts.append(f'      <int key="corrects" value="{event.corrects}"/>\n')
    return f"    <event>\n{''.join(parts)}    </event>\n"


def _string(key: str, value: str, deep: int) -> str:
    text = quoteattr(_NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", value))
    return f'{" " * deep}<string key="{key}" value={text}/>\n'
