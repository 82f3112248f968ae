"""Words of the ballots in the language of the session: one JSON file a language.

Adding a language is adding a file to `texts/` with the same keys as `en.json`.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from .errors import ArgumentError

_FOLDER = Path(__file__).parent / "texts"


def languages() -> dict[str, str]:
    """Names of the languages by their code, English first.

    >>> list(languages())
    ['en', 'de', 'es', 'fr']
    """
    codes = sorted(
        (path.stem for path in _FOLDER.glob("*.json")), key=lambda one: (one != "en", one)
    )
    return {code: ballot_words(code)["language"] for code in codes}


@cache
def ballot_words(language: str) -> dict[str, Any]:
    """All words of a ballot in a language; `asks` and `answers` are nested.

    Raises ArgumentError for a language without a file.

    Examples
    --------
    >>> ballot_words("de")["answers"]["same"]
    'gleich'
    """
    path = _FOLDER / f"{language}.json"
    if not language.isalpha() or not path.is_file():
        known = ", ".join(sorted(one.stem for one in _FOLDER.glob("*.json")))
        raise ArgumentError(f"language must be one of {known}; got {language!r}.")
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found
