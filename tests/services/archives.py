"""Darwin Core archives for the tests, made by hand after the text guide of Biodiversity Information Standards (TDWG)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import quoteattr

DWC = "http://rs.tdwg.org/dwc/terms/"
HEADED = '<?xml version="1.0" encoding="UTF-8"?>\n<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">\n{}\n</archive>'
EML = '<?xml version="1.0" encoding="UTF-8"?>\n<eml:eml xmlns:eml="eml://ecoinformatics.org/eml-2.1.1"><dataset><title>Plants of the Skarn Tarn</title></dataset></eml:eml>'


def part(
    tag: str,
    fields: Sequence[tuple[int | None, str, str | None]],
    files: Sequence[str] = ("occurrence.txt",),
    kind: str = f"{DWC}Occurrence",
    key: int | None = 0,
    **more: str,
) -> str:
    """One <core> or <extension>: its fields are place, term and default."""
    told = {
        "encoding": "UTF-8",
        "fieldsTerminatedBy": "\\t",
        "linesTerminatedBy": "\\n",
        "fieldsEnclosedBy": "",
        "ignoreHeaderLines": "1",
        "rowType": kind,
        **more,
    }
    shown = " ".join(f"{name}={quoteattr(value)}" for name, value in told.items() if value is not None)
    named = "".join(f"<location>{name}</location>" for name in files)
    own = "" if key is None else f'<{"id" if tag == "core" else "coreid"} index="{key}"/>'
    rows = "".join(
        f"<field{f' index={quoteattr(str(at))}' if at is not None else ''} term={quoteattr(term if '://' in term else DWC + term)}"
        f"{f' default={quoteattr(default)}' if default is not None else ''}/>"
        for at, term, default in fields
    )
    return f"<{tag} {shown}><files>{named}</files>{own}{rows}</{tag}>"


def zipped(files: Mapping[str, str | bytes], packed: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip archive of these files."""
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", packed) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return kept.getvalue()


def archive(core: str, files: Mapping[str, str | bytes], *extensions: str, meta: str = "") -> bytes:
    """A whole archive: its metafile, what describes it, and its files."""
    return zipped({"meta.xml": meta or HEADED.format(core + "".join(extensions)), "eml.xml": EML, **files})


def table(rows: Sequence[Sequence[str]], separator: str = "\t") -> str:
    """Rows without any quotation marks."""
    return "".join(separator.join(row) + "\n" for row in rows)
