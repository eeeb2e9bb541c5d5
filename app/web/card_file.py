"""Pages of cards as one file that needs nothing else: styles and faces are inside it, so that it prints anywhere."""

from __future__ import annotations

import re
from base64 import b64encode

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.config import HOME
from app.web.card_pages import CardPages
from app.web.template_words import speaks

# The faces that cards are set in; a cut of one that no card uses would only make the file heavier.
_USED = re.compile(
    r"(next-latin(-ext)?-(400|700)-normal|mono-latin(-ext)?-(400|700)-normal|newsreader-latin(-ext)?-400-)"
)


def card_file(pages: CardPages) -> str:
    """The pages as a whole HTML document, UTF-8."""
    rooms = Environment(loader=FileSystemLoader(HOME / "templates"), autoescape=True, undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    speaks(rooms)
    return rooms.get_template("print/file.html").render(pages=pages, css=_styles())


def _styles() -> str:
    static = HOME / "static"
    faces = re.findall(r"@font-face \{.*?\n\}", (static / "fonts.css").read_text(encoding="utf-8"), re.S)
    inside = [re.sub(r'url\("([^"]+)"\)', _inside, face) for face in faces if _USED.search(face)]
    return "\n".join([*inside, *((static / name).read_text(encoding="utf-8") for name in ("tokens.css", "cards.css"))])


def _inside(match: re.Match[str]) -> str:
    return f'url("data:font/woff2;base64,{b64encode((HOME / "static" / match[1]).read_bytes()).decode()}")'
