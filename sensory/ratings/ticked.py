"""Check all that apply: which words of a list tell the samples apart?

[1] Q and McNemar's test, see `models.ticks`. That chi-square serves Q from about 24 answers on, of
    assessors who tick differently times samples: Tate and Brown (1970), from memory.

Why so
------
Answers of one person go together. Over several sessions the ticks of an assessor are added first,
so that the assessor stays the unit; sessions taken as further assessors would find differences that
two or three regulars make. A word that nobody ticks differently has no Q: it leaves the family of
words, and the result says so. An empty box is no 'no': somebody may just not have looked for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import Table, several
from ..base.shown import Told
from ..models.multiplicity import holm
from ..models.ticks import cochran_q, pair_p
from .frames import rows_of_file

_NEEDED = ("assessor", "sample")
_BESIDE = ("session", "replicate")
_ENOUGH = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class TickedWords(Told):
    """Result of `ticked_words`.

    Attributes
    ----------
    words, samples : tuple of str
    assessors, sessions : int
    left_out : tuple of str
        Assessors who did not answer on every sample as often as on the others.
    alpha : float
    counts : DataFrame
        ``attribute sample ticks of``, a row a word and sample.
    tests : DataFrame
        ``attribute ticks statistic df p p_adjusted assessors``: Q of each word; Holm over words.
    pairs : DataFrame
        ``attribute sample reference more fewer p p_adjusted``: Holm over the pairs of a word.
    """

    words: tuple[str, ...]
    samples: tuple[str, ...]
    assessors: int
    sessions: int
    left_out: tuple[str, ...]
    alpha: float
    _counts: pd.DataFrame
    _tests: pd.DataFrame
    _pairs: pd.DataFrame

    @property
    def counts(self) -> pd.DataFrame:
        """Ticks by word and sample."""
        return self._counts.copy()

    @property
    def tests(self) -> pd.DataFrame:
        """Q of each word."""
        return self._tests.copy()

    @property
    def pairs(self) -> pd.DataFrame:
        """Samples two by two."""
        return self._pairs.copy()

    @property
    def tell_apart(self) -> tuple[str, ...]:
        """Words on which the samples differ, adjusted for their number."""
        return tuple(self._tests[self._tests["p_adjusted"] <= self.alpha]["attribute"])

    def says(self) -> tuple[str, ...]:
        """Which words tell the samples apart, and between which of them."""
        lines = []
        for word in self.tell_apart:
            own = self._pairs[self._pairs["attribute"] == word]
            pairs = [
                f"{row['sample']} {'more' if row['more'] > row['fewer'] else 'less'} often than "
                f"{row['reference']}"
                for row in own[own["p_adjusted"] <= self.alpha].to_dict("records")
            ]
            p = float(self._tests[self._tests["attribute"] == word]["p_adjusted"].iloc[0])
            which = f": {'; '.join(pairs)}" if pairs else "; no single pair is told apart"
            chance = "< 0.001" if p < 0.001 else f"{p:.2g}"
            lines.append(f"'{word}' tells the samples apart (p {chance}, Holm){which}.")
        return tuple(lines) or ("No word of the list tells the samples apart.",)

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What ticks leave open."""
        lines = [
            "An empty box is no 'no': a word may not have been looked for.",
            "Ticks say whether a word applies, not how strong it is.",
        ]
        if silent := [w for w in self.words if w not in set(self._tests["attribute"])]:
            lines.append(f"Nobody ticked the samples differently, so no test: {', '.join(silent)}.")
        few = self._tests[self._tests["assessors"] * len(self.samples) < _ENOUGH]
        if len(few):
            lines.append(
                f"Few differing answers, so that p of Q is rough: {', '.join(few['attribute'])}."
            )
        if self.left_out:
            lines.append(
                f"Left out, with a sample missing or more often than another: "
                f"{', '.join(self.left_out)}."
            )
        if self.sessions > 1:
            lines.append("Ticks of an assessor are added over sessions; the assessor is the unit.")
        return tuple(lines)

    def summary(self) -> Table:
        """A row a word: ticks by sample, Q and its adjusted p."""
        of_word = {
            word: [int(count) for count in part["ticks"]]
            for word, part in self._counts.groupby("attribute", sort=False)
        }
        tested = {
            str(row["attribute"]): (float(row["statistic"]), float(row["p_adjusted"]))
            for row in self._tests.to_dict("records")
        }
        rows = [
            (word, *of_word[word], *tested.get(word, (None, None)))
            for word in sorted(self.words, key=lambda word: -sum(of_word[word]))
        ]
        return Table(columns=("word", *self.samples, "Q", "p (Holm)"), rows=tuple(rows))

    def __repr__(self) -> str:
        many = several(len(self.words), "word")
        return f"<TickedWords: {many}, {len(self.tell_apart)} tell the samples apart>"


def ticked_words(ticks: pd.DataFrame, *, alpha: float = 0.05) -> TickedWords:
    """Which of the words of a ticked list tell the samples apart?

    Parameters
    ----------
    ticks : DataFrame
        ``assessor sample`` and, if wanted, ``session replicate``; every other column is a word,
        1 where it was ticked and 0 where not. A row an assessor, sample and session.
    alpha : float
        Of each family: Holm over words, and over the pairs of a word.

    Raises
    ------
    ArgumentError
        For a missing column, a cell that is neither 0 nor 1, or fewer than two samples, or
        assessors who answered on all of them.

    Notes
    -----
    For one session Cochran's Q and McNemar's exact test [1]. Over several, the ticks of an assessor
    on a sample are added, and Q is the same sum of squares between samples over the scatter within
    assessors; pairs are the sign test over assessors.

    Examples
    --------
    >>> table = pd.DataFrame({"assessor": list("aabbccddeeff"), "sample": ["x", "y"] * 6,
    ...                       "jammy": [1, 0] * 6, "sweet": [1] * 12})
    >>> result = ticked_words(table)
    >>> result.tell_apart, float(result.pairs["p"].iloc[0])
    (('jammy',), 0.03125)
    """
    frame, words = _checked(ticks)
    samples = tuple(dict.fromkeys(frame["sample"]))
    served = frame.groupby(["assessor", "sample"]).size().unstack(fill_value=0)[list(samples)]
    whole = served[(served.nunique(axis=1) == 1) & (served.min(axis=1) > 0)].index
    left_out = tuple(name for name in served.index if name not in set(whole))
    frame = frame[frame["assessor"].isin(whole)]
    if len(samples) < 2 or len(whole) < 2:
        raise ArgumentError(
            "two samples and two assessors who answered on every sample are needed; got "
            f"{several(len(samples), 'sample')} and {several(len(whole), 'assessor')}."
        )
    summed = frame.groupby(["assessor", "sample"])[words].sum()
    tables = {word: summed[word].unstack()[list(samples)].to_numpy(float) for word in words}
    counts = [
        (word, sample, int(table[:, at].sum()), int(served.loc[whole, sample].sum()))
        for word, table in tables.items()
        for at, sample in enumerate(samples)
    ]
    tests, pairs = [], []
    for word, table in tables.items():
        q, p, many = cochran_q(table)
        if many:
            tests.append((word, int(table.sum()), q, len(samples) - 1, p, many))
            pairs += _pairs_of(word, samples, table)
    tested = pd.DataFrame(
        tests, columns=["attribute", "ticks", "statistic", "df", "p", "assessors"]
    )
    tested.insert(5, "p_adjusted", holm(tested["p"].to_numpy(float)) if tests else [])
    session = frame["session"].nunique() if "session" in frame else 1
    return TickedWords(
        words=tuple(words),
        samples=samples,
        assessors=len(whole),
        sessions=int(session),
        left_out=left_out,
        alpha=alpha,
        _counts=pd.DataFrame(counts, columns=["attribute", "sample", "ticks", "of"]),
        _tests=tested,
        _pairs=pd.DataFrame(
            pairs,
            columns=["attribute", "sample", "reference", "more", "fewer", "p", "p_adjusted"],
        ),
    )


def _checked(ticks: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The table with texts as names and ticks as numbers, and its words."""
    if missing := [name for name in _NEEDED if name not in ticks.columns]:
        raise ArgumentError(f"a ticked list needs the columns {', '.join(missing)}.")
    words = [str(name) for name in ticks.columns if name not in (*_NEEDED, *_BESIDE)]
    if not words:
        raise ArgumentError("a ticked list needs a column a word, beside assessor and sample.")
    frame = ticks.copy()
    frame.columns = [str(name) for name in frame.columns]
    for name in _NEEDED:
        frame[name] = frame[name].astype(str).str.strip()
    for word in words:
        numbers = pd.to_numeric(frame[word], errors="coerce")
        wrong = ~numbers.isin([0, 1])
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            raise ArgumentError(
                f"{word}, row {rows_of_file(ticks)[at]}: a tick is 1 and no tick 0; got "
                f"{frame[word].iloc[at]!r}."
            )
        frame[word] = numbers
    return frame, words


def _pairs_of(
    word: str, samples: tuple[str, ...], table: np.ndarray[tuple[int, int], np.dtype[np.float64]]
) -> list[tuple[object, ...]]:
    rows = [
        (word, samples[a], samples[b], *pair_p(table[:, a], table[:, b]))
        for a, b in combinations(range(len(samples)), 2)
    ]
    adjusted = holm(np.array([row[-1] for row in rows]))
    return [(*row, float(p)) for row, p in zip(rows, adjusted, strict=True)]
