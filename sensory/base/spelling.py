"""Blinding codes and names as people type them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_BETWEEN = "|"
_WIDE = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)} | {0x3000: 0x20}


def normal_code(text: str) -> str | None:
    """A blinding code as digits: 0412, 412.0, '412,0' and ' 412' are all 412; else None.

    >>> [normal_code(text) for text in ("0412", "412.0", "412,0", "4l2", "")]
    ['412', '412', '412', None, None]
    """
    plain = plain_width(text).strip().lstrip("'")
    match = re.fullmatch(r"0*([1-9][0-9]{0,5})(?:[.,]0{0,2})?", plain, flags=re.ASCII)
    return match.group(1) if match else None


def plain_width(text: str) -> str:
    """Letters and digits typed in full width as the usual ones; nothing else is changed.

    >>> plain_width("ＡＢＢ ４１２")
    'ABB 412'
    """
    return text.translate(_WIDE)


def split_codes(text: str) -> list[str]:
    """The code texts in one cell, separated by spaces, commas, slashes and the like.

    >>> split_codes("412 / 837;265"), split_codes("412.0, 837,0")
    (['412', '837', '265'], ['412.0', '837,0'])
    """
    parts = [part for part in re.split(r"[\s/;|+&]+|\band\b", text) if part.strip(",")]
    codes: list[str] = []
    for part in (piece.strip(",") for piece in parts):
        whole = re.fullmatch(r"[0-9]+,0+", part)
        codes += [part] if whole else [piece for piece in part.split(",") if piece]
    return codes


def same_person(name: str) -> str:
    """A name without the differences that typing makes: case, spaces, width.

    >>> same_person("  Anna  Berg ") == same_person("anna berg")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def tidy_name(name: str) -> str:
    """A name as it is kept: usual width, no needless spaces.

    >>> tidy_name("  Anna   Berg ")
    'Anna Berg'
    """
    return " ".join(plain_width(name).split())


def key_of(text: str) -> str:
    """One spelling for a number, lot or name: needless spaces and case do not count.

    >>> key_of(" PE-14  a ")
    'pe-14 a'
    """
    return " ".join(text.split()).casefold()


def looks_like(name: str) -> str:
    """What is left of a name without case, width, accents, spaces and punctuation.

    Between digits they count: 1.2 is not 12.

    >>> {looks_like(name) for name in ("A.B.", "AB", "a b", "Á. B")}
    {'ab'}
    >>> looks_like("P 1.2") == looks_like("P12")
    False
    """
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", name).casefold())
    plain = re.sub(r"(?<=\d)\W+(?=\d)", _BETWEEN, plain)
    kept = "".join(letter for letter in plain if letter.isalnum() or letter == _BETWEEN)
    return kept or plain


def look_alikes(names: Iterable[str]) -> list[tuple[str, ...]]:
    """Names that still look like one person in several spellings, in the order they came.

    >>> look_alikes(["A.B.", "Cleo", "AB", "A B"])
    [('A.B.', 'AB', 'A B')]
    """
    groups: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        groups.setdefault(looks_like(name), []).append(name)
    return [tuple(group) for group in groups.values() if len(group) > 1]


def may_be_alike(one_name: str, other: str) -> bool:
    """Whether two names may be one, written differently: only to be asked, never to be done.

    One letter more, less, other or exchanged in a word of at least four; the words in another
    order; a first name and its initial. Digits and short words have to be the same.

    >>> [may_be_alike("bitter", name) for name in ("bittr", "bitter ", "sour")]
    [True, True, False]
    >>> [may_be_alike("Anna Berg", name) for name in ("Berg, Anna", "A. Berg", "Anna Borg")]
    [True, True, True]
    >>> may_be_alike("Batch 1127", "Batch 1128"), may_be_alike("Sample A", "Sample B")
    (False, False)
    """
    if looks_like(one_name) == looks_like(other):
        return True
    left, right = (sorted(re.findall(r"\w+", same_person(name))) for name in (one_name, other))
    if len(left) != len(right) or not left:
        return False
    if left == right:
        return True
    first = [word for word in left if word not in right]
    second = [word for word in right if word not in left]
    if len(first) != 1 or len(second) != 1:
        return False
    short, long = sorted((looks_like(first[0]), looks_like(second[0])), key=len)
    if len(short) == 1 and len(left) > 1:
        return short.isalpha() and long.startswith(short) and len(long) > 1
    return min(len(first[0]), len(second[0])) >= 4 and _a_letter_apart(short, long)


def _a_letter_apart(short: str, long: str) -> bool:
    """Whether one letter makes the difference, no digit."""
    if re.sub(r"\D", "", short) != re.sub(r"\D", "", long) or len(long) - len(short) > 1:
        return False
    at = next((i for i, letter in enumerate(short) if letter != long[i]), len(short))
    if len(long) > len(short):
        return short[at:] == long[at + 1 :]
    exchanged = short[:at] + short[at : at + 2][::-1] + short[at + 2 :]
    return short[at + 1 :] == long[at + 1 :] or exchanged == long


def name_and_role(name: str, role: str) -> str:
    """A name, with its role where there is one."""
    return f"{name}, {role}" if role else name
