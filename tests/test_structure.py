"""The walls of the house: which room may import which, and what only one place may do."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parent.parent
SOURCES = sorted([*(HOME / "app").rglob("*.py"), *(HOME / "seed_demo").rglob("*.py")])
MAY_IMPORT: dict[str, set[str]] = {
    "app.domain": {"app.domain"},
    "app.db": {"app.domain", "app.db"},
    "app.services": {"app.domain", "app.db", "app.services"},
    "app.queries": {"app.domain", "app.db", "app.queries"},
    "app.web": {"app.domain", "app.services", "app.queries", "app.db.engine", "app.clock", "app.config", "app.web"},
    "seed_demo": {"app.domain", "app.services", "app.queries", "app.db.engine", "seed_demo"},
}
LIBRARIES: dict[str, set[str]] = {
    "app.domain": set(),
    "app.db": {"sqlalchemy", "alembic", "psycopg"},
    "app.services": {"sqlalchemy", "argon2", "holidays"},
    "app.queries": {"sqlalchemy"},
    "app.web": {
        "flask",
        "flask_wtf",
        "wtforms",
        "werkzeug",
        "jinja2",
        "markupsafe",
        "babel",
        "waitress",
        "xlsxwriter",
        "segno",
        "barcode",
    },
    "seed_demo": set(),
}
STANDARD = sys.stdlib_module_names


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(HOME).with_suffix("").parts).removesuffix(".__init__")


def room_of(module: str) -> str | None:
    return next((room for room in MAY_IMPORT if module == room or module.startswith(f"{room}.")), None)


def imports_of(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            if node.module in ("app", "app.db", "app.services", "app.queries", "app.domain", "app.web"):
                yield from (f"{node.module}.{name.name}" for name in node.names)


def is_within(module: str, allowed: set[str]) -> bool:
    return any(module == room or module.startswith(f"{room}.") for room in allowed)


ROOMED = [path for path in SOURCES if room_of(module_of(path))]


@pytest.mark.parametrize("path", ROOMED, ids=module_of)
def test_imports_go_in_one_direction(path: Path) -> None:
    room = room_of(module_of(path))
    assert room is not None
    parents = {"app", "app.db", "app.services", "app.queries", "app.domain", "app.web"}
    for imported in imports_of(path):
        top = imported.split(".")[0]
        if top in ("app", "seed_demo"):
            assert imported in parents or is_within(imported, MAY_IMPORT[room]), f"{room} may not import {imported}"
        else:
            assert top in STANDARD or top in LIBRARIES[room], f"{room} may not import {imported}"


def test_only_the_first_room_and_the_joiners_stand_outside_the_rooms() -> None:
    outside = {module_of(path) for path in SOURCES if room_of(module_of(path)) is None}
    joiners = {
        "app",
        "app.__main__",
        "app.background",
        "app.backing_up",
        "app.care_commands",
        "app.doctor",
        "app.doctor_room",
        "app.holdings",
        "app.logs",
        "app.moving",
        "app.restoring",
        "app.room_files",
        "app.starting",
        "app.bringing_in",
        "app.cli",
        "app.clock",
        "app.commands",
        "app.config",
        "app.export_commands",
        "app.file_commands",
        "app.serving",
    }
    assert outside <= joiners, outside
    for path in SOURCES:
        if module_of(path) not in ("app", "app.__main__", "app.serving", "app.cli", "app.commands"):
            found = {"app.cli", "app.commands", "app.care_commands"} & set(imports_of(path))
            assert not found, f"{path} imports the joiners"


def calls_of(path: Path) -> Iterator[tuple[str, ast.Call]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            yield name, node


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_nobody_commits(path: Path) -> None:
    assert "commit" not in {name for name, _ in calls_of(path)}


WRITES = {"insert", "update", "delete", "adding", "replacing", "flush", "merge", "add_all", "bulk_save_objects"}


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if room_of(module_of(p)) in ("app.queries", "app.web", "seed_demo")], ids=module_of
)
def test_only_services_write(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names
                if node.module and (node.module.startswith("sqlalchemy") or node.module == "app.db.upsert")}  # fmt: skip
    assert not imported & WRITES
    assert not [node for name, node in calls_of(path) if name in ("flush", "merge", "add_all")]


CLOCKS = {("datetime", "now"), ("datetime", "utcnow"), ("datetime", "today"), ("date", "today"), ("time", "time")}


@pytest.mark.parametrize("path", [p for p in SOURCES if module_of(p) != "app.clock"], ids=module_of)
def test_only_the_clock_asks_the_time(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and isinstance(node.func.value, ast.Name)
        ):
            assert (node.func.value.id, node.func.attr) not in CLOCKS, f"{path}:{node.lineno} asks the time"


def test_only_custody_writes_where_a_sheet_stands() -> None:
    """One place writes the row of a sheet together with its entry; no other names a stage in an update of a sheet."""
    writers = [module_of(path) for path in SOURCES if re.search(r"(update\(SHEET\)|update\(Sheet\))", path.read_text())]
    for module in writers:
        text = (HOME / (module.replace(".", "/") + ".py")).read_text()
        sets = re.findall(r"update\((?:SHEET|Sheet)\)[^\n]*\n?[^\n]*values\(([^)]*)\)", text)
        if module != "app.services.custody":
            assert not any("stage" in each or "came_at" in each for each in sets), module
    inserts = [
        module_of(path) for path in SOURCES if re.search(r"insert\((ENTRY|Entry|table_of\(Entry\))\)", path.read_text())
    ]
    assert inserts == ["app.services.custody"]


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_files_and_functions_stay_small(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 250, f"{path} has {text.count(chr(10))} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            assert (node.end_lineno or 0) - node.lineno + 1 <= 30, f"{path}: {node.name}"


PUBLIC_ROOMS = ("app.domain", "app.services", "app.queries")


@pytest.mark.parametrize("path", SOURCES, ids=module_of)
def test_every_module_says_what_it_is_for(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not tree.body or ast.get_docstring(tree), path
    if room_of(module_of(path)) in PUBLIC_ROOMS:
        for node in tree.body:
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{path}: {node.name} has no docstring"


def test_nothing_is_called_by_an_empty_name() -> None:
    empty = {"utils", "helpers", "common", "misc", "manager", "handler", "base_service"}
    assert not {path.stem for path in SOURCES} & empty
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                assert not re.search(r"(Manager|Handler|Util)$", node.name), f"{path}: {node.name}"


def test_the_top_level_is_as_agreed() -> None:
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "app",
        "migrations",
        "tests",
        "static",
        "templates",
        "seed_demo",
    }
    found = {
        path.name for path in HOME.iterdir() if not path.name.startswith(".") and not path.name.endswith(".egg-info")
    }
    assert found == agreed


TEMPLATES = sorted((HOME / "templates").rglob("*.html"))
MIGRATIONS = sorted((HOME / "migrations" / "versions").glob("*.py"))


def test_templates_hold_no_style_no_script_and_no_inline_handlers() -> None:
    assert TEMPLATES
    for path in TEMPLATES:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\sstyle=", text), path
        assert not re.search(r"\son[a-z]+=", text), path
        assert "hx-on" not in text and "js:" not in text, path
        assert not re.search(r"<script(?![^>]*\b(?:src=|type=\"application/json\"))", text), path


def test_every_template_is_used() -> None:
    named = "\n".join(path.read_text(encoding="utf-8") for path in [*SOURCES, *TEMPLATES])
    for path in TEMPLATES:
        name = str(path.relative_to(HOME / "templates"))
        assert f'"{name}"' in named or f"'{name}'" in named, f"{name} is used nowhere"


def test_migrations_use_plain_types_and_nothing_of_the_program() -> None:
    assert MIGRATIONS
    for path in MIGRATIONS:
        assert not [name for name in imports_of(path) if name.split(".")[0] == "app"], path
