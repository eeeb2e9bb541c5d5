"""Readers of strangers' bytes and bodies, asked with anything: an answer or one plain sentence, soon, and nothing written when refused.

`python -m tests.fuzz --seconds 600` goes on for longer, and never the same way twice.
"""

from __future__ import annotations

import random
import zipfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.listing import open_headings, open_listing
from app.domain.numbers import Pattern
from app.domain.table_faults import BadRow, BadTable
from tests.databases import Rooms
from tests.fuzz.bodies import NAMES, Interface
from tests.fuzz.readers import META, WHOLE, reads_listing, reads_number, reads_xml, spoilt
from tests.services.archives import zipped
from tests.services.days import differences, new_room

TEXTS = st.one_of(
    st.text(max_size=90),
    st.text("TQX0123456789OIl·- *\r\n", max_size=16),
    st.from_regex(r"\A\]?[A-Za-z]{0,8} ?[0-9]{0,14}.?\Z"),
)
PATTERNS = st.lists(st.sampled_from([Pattern("TQX", 6), Pattern("OLD", 5, False), Pattern("Q", 1), Pattern("TQ", 7), Pattern("LONGEST", 12)]),
                    max_size=5, unique=True)  # fmt: skip
SEEDS = st.integers(0, 2**32)
MANY = settings().max_examples
BODIES = MANY * 4


@given(text=TEXTS, patterns=PATTERNS)
def test_any_text_is_one_of_the_four_readings(text: str, patterns: list[Pattern]) -> None:
    reads_number(text, patterns)


@given(
    data=st.one_of(
        st.binary(max_size=400),
        st.text(max_size=200).map(str.encode),
        st.text('a,";\n\r\t\0', max_size=60).map(str.encode),
    )
)
def test_any_bytes_are_a_list_or_refused_in_a_sentence(data: bytes) -> None:
    reads_listing(data)


@pytest.mark.parametrize("kind", ["table", "archive"])
@settings(max_examples=MANY * 2)
@given(seed=SEEDS)
def test_a_list_that_was_spoilt_on_the_way_is_read_or_refused_in_a_sentence(kind: str, seed: int) -> None:
    chance = random.Random(seed)
    reads_listing(spoilt(chance.choice(WHOLE[kind]), chance))


@settings(max_examples=MANY * 2)
@given(seed=SEEDS)
def test_a_metafile_that_was_spoilt_is_read_or_refused_in_a_sentence(seed: int) -> None:
    reads_xml(spoilt(META, random.Random(seed)))


def test_what_is_whole_is_read() -> None:
    """The tests above are worth nothing if everything were refused."""
    assert [reads_listing(whole) for whole in WHOLE["table"][:3]] == ["rows"] * 3
    assert [reads_listing(whole) for whole in WHOLE["archive"]] == ["rows"] * 2
    assert (
        reads_xml(META) == "read" and reads_number(WHOLE["table"][0].split(b"\n")[1].split(b",")[0].decode()) == "Exact"
    )


def test_what_a_stranger_wrote_is_shown_without_what_a_terminal_would_obey() -> None:
    """Found by the tests above: a heading went to the terminal as it was, with whatever it would do there."""
    with pytest.raises(BadTable) as fault:
        open_listing(b"catalogNumber,\x1b[2Jodd,catalogNumber\n")
    rows = list(open_headings(b"catalogNumber,a\x1b]0;owned\x07b\nTQX1\n").rows())
    assert isinstance(rows[0], BadRow) and rows[0].said.startswith(
        "Line 2, a\ufffd]0;owned\ufffdb: The row is too short"
    )
    assert "\x1b" not in fault.value.bad.said


def test_a_file_without_a_name_in_an_archive_is_refused_in_a_sentence() -> None:
    """Found by a coverage-guided run: zipfile itself takes the last letter of every name."""
    whole = zipped({"x": "catalogNumber\nTQX1\n"}, zipfile.ZIP_STORED)
    nameless = bytearray(whole)
    directory = nameless.index(b"PK\x01\x02")
    # The lengths of the name in both headers, and the one letter of the name in the directory.
    nameless[26:28] = nameless[directory + 28 : directory + 30] = b"\0\0"
    del nameless[directory + 46]
    nameless[-10:-6] = (int.from_bytes(nameless[-10:-6], "little") - 1).to_bytes(4, "little")
    with pytest.raises(BadTable) as fault:
        open_listing(bytes(nameless))
    assert fault.value.bad.said == "A file of the archive is called “”, nothing at all: have the archive made again."


def test_any_body_is_answered_or_refused_and_a_refusal_writes_nothing(rooms: Rooms, tmp_path: Path) -> None:
    room, chance, told = new_room(rooms, tmp_path), random.Random(MANY), Counter[tuple[str, int]]()
    asked = Interface(room, tmp_path)
    for _ in range(BODIES):
        path = chance.choice(list(NAMES))
        key = asked.keys[0] if chance.random() < 0.7 else chance.choice(asked.keys)
        told[path, asked.ask(path, asked.random_body(path, chance), key)] += 1
    assert differences(room.database) == []
    room.database.engine.dispose()
    # Worth nothing if nothing got through, or nothing was refused.
    assert all(told[path, 200] for path in ("/scans", "/stacks/P1/weights", "/sheets", "/holds")), told
    assert sum(count for (_, status), count in told.items() if status in (400, 422)) > BODIES // 4, told
