"""Typst, called one way for all paper: data in as JSON, fonts of the typesetter's own, a tagged PDF out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pipeline.errors import TarebookError
from pipeline.pictures.svg import clean

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""Paper by the word for it, in the typesetter's terms."""

_FONTS = ("Libertinus Serif", "DejaVu Sans Mono")
_STRICT = ["a-2a", "ua-1"]


def typeset(template: Path, data: dict[str, Any]) -> bytes:
    """A PDF of that template with that data: PDF/A-2a and PDF/UA-1, fonts embedded, the same bytes for the same data.

    The fonts inside the typesetter cover Latin, Greek and Cyrillic. Where a name needs more, the machine's fonts join; where
    those do not have the letters either, the document is made without the two standards (they forbid a missing letter),
    still tagged and with the letters in its text.

    Raises: TarebookError: the typesetter refuses for another reason, such as a damaged logo.
    """
    import typst

    inputs = {"data": json.dumps(_cleaned(data | {"fonts": list(_FONTS)}), ensure_ascii=False, sort_keys=True)}
    source, refusal = template.read_bytes(), ""
    for own_fonts_only, standards in ((True, _STRICT), (False, _STRICT), (False, [])):
        try:
            return typst.compile(source, sys_inputs=inputs, ignore_system_fonts=own_fonts_only, pdf_standards=standards)  # type: ignore[arg-type]
        except typst.TypstError as error:
            refusal = str(error)
            if "could not be displayed" not in refusal:
                break
    raise TarebookError("the sheet cannot be set", got=refusal, do="look at the logo and the texts it carries")


def _cleaned(value: Any) -> Any:
    """The data without characters that text on paper cannot carry (control characters, lone surrogates)."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {key: _cleaned(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_cleaned(entry) for entry in value]
    return value
