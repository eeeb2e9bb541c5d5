"""The map for newcomers in DEVELOPERS.md: every module of the four rooms is in exactly one theme, and no name leads nowhere."""

from __future__ import annotations

import re
from fnmatch import fnmatch

from tests.test_structure import HOME

ROOMS = ("domain", "services", "queries", "web")
HEAD = "## Where things are, by theme"
MODULES = sorted(
    f"{room}/{path.stem}" for room in ROOMS for path in (HOME / "app" / room).glob("*.py") if path.stem != "__init__"
)


def themes() -> dict[str, list[str]]:
    """The names of each theme, as the table has them."""
    text = (HOME / "DEVELOPERS.md").read_text(encoding="utf-8").partition(f"{HEAD}\n")[2].partition("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.endswith("` |")]
    return {theme: re.findall(r"`([^`]+)`", listed) for theme, _about, listed in rows}


def names(name: str, module: str) -> bool:
    return fnmatch(module if "/" in name else module.partition("/")[2], name)


def found_in(module: str) -> list[tuple[str, str]]:
    """By which themes and names a module is found; a whole name goes before one with a star."""
    found = [(theme, name) for theme, listed in themes().items() for name in listed if names(name, module)]
    whole = [(theme, name) for theme, name in found if "*" not in name]
    return whole or found


def test_every_module_is_in_exactly_one_theme_by_one_name() -> None:
    assert len(themes()) >= 18 and len(MODULES) > 400
    astray = {module: found_in(module) for module in MODULES if len(found_in(module)) != 1}
    assert not astray, "say in DEVELOPERS.md, under what theme each of these is found"


def test_no_name_of_the_map_leads_nowhere_or_says_what_another_says_already() -> None:
    used = {entry for module in MODULES for entry in found_in(module)}
    idle = [(theme, name) for theme, listed in themes().items() for name in listed if (theme, name) not in used]
    assert not idle
