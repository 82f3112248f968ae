"""Words of the ballots in the language of the session: one JSON file a language.

Adding a language is adding a file to `texts/` with the same keys as `en.json`.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

from .errors import ArgumentError
from .records import JsonObject

_FOLDER = Path(__file__).parent / "texts"


def languages() -> dict[str, str]:
    """Names of the languages by their code, English first.

    >>> list(languages())
    ['en', 'de', 'es', 'fr']
    """
    codes = sorted(_codes(), key=lambda code: (code != "en", code))
    return {code: ballot_words(code)["language"] for code in codes}


def _codes() -> list[str]:
    return sorted(path.stem for path in _FOLDER.glob("*.json"))


@cache
def ballot_words(language: str) -> JsonObject:
    """All words of a ballot in a language, but those of the tests.

    Raises ArgumentError for a language without a file.

    Examples
    --------
    >>> ballot_words("de")["before"]
    'Bevor Sie verkosten'
    """
    if language not in _codes():
        raise ArgumentError(f"language must be one of {', '.join(_codes())}; got {language!r}.")
    words: JsonObject = json.loads((_FOLDER / f"{language}.json").read_text(encoding="utf-8"))
    return words
