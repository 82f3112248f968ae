"""Which method serves which question: a table of reasons, not a black box.

The conditions are those of the trade (scopes of the standards; where marked, common
practice without a source). Each line that speaks for or against a method is shown to the
user, so that the choice can be argued with.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from ..base.errors import ArgumentError
from ..base.standards import STANDARDS

Question = Literal[
    "different", "similar", "more", "size", "reference from memory", "batches at the line",
    "threshold",
]  # fmt: skip
QUESTIONS: dict[Question, str] = {
    "different": "Is there any perceptible difference?",
    "similar": "Is the difference small enough to be accepted?",
    "more": "Which of the two has more of a named attribute?",
    "size": "How large is the difference, or what differs?",
    "reference from memory": "Does the sample belong to a reference that assessors know by heart?",
    "batches at the line": "Which of many batches are out of the agreed standard?",
    "threshold": "At which concentration is a substance noticed?",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What the panel leader has in hand.

    Attributes
    ----------
    question : str
        A key of `QUESTIONS`.
    people : int
        Assessors who can come.
    carry_over : bool
        Strong or lingering flavour: each tasting spoils the next.
    homogeneous : bool
        Portions of one batch are alike.
    looks_alike : bool
        Colour and shape cannot give the answer away.
    maskable : bool
        Where they could: whether coloured light, dark or lidded cups hide it.
    trained : bool
        The panel is trained: on a scale, or on the attributes of the product.
    reference_known : bool
        The reference is regular production that assessors know.
    scarce : bool
        There is little of the sample.
    """

    question: Question
    people: int
    carry_over: bool = False
    homogeneous: bool = True
    looks_alike: bool = True
    reference_known: bool = True
    scarce: bool = False
    maskable: bool = False
    trained: bool = False

    @property
    def told_by_looks(self) -> bool:
        """Whether assessors can see which sample is which."""
        return not self.looks_alike and not self.maskable


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One method with what speaks for and against it here.

    Attributes
    ----------
    method, protocol, standard : str
        Name; key of the protocol where it is a forced choice, else empty; standard.
    tasted : int
        Samples that one assessor tastes in one test.
    possible : bool
        False where a reason against it is decisive.
    condition : str
        What has to be done so that it is possible; empty for nothing.
    """

    method: str
    protocol: str
    standard: str
    tasted: int
    possible: bool
    reasons: tuple[str, ...]
    against: tuple[str, ...]
    condition: str = ""


MASKED = "looks masked"
"""The condition under which samples that look different go into a test of any difference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Clause:
    """A condition, the weight of what it says, and the sentence."""

    when: Callable[[Situation], bool]
    weight: int
    says: str


_NEVER = -100


def _for(when: Callable[[Situation], bool], says: str, weight: int = 1) -> _Clause:
    return _Clause(when=when, weight=weight, says=says)


def _not(when: Callable[[Situation], bool], says: str, weight: int = 1) -> _Clause:
    return _Clause(when=when, weight=-weight, says=says)


def _asks(*questions: str) -> Callable[[Situation], bool]:
    return lambda s: s.question in questions


_ELSEWHERE = _not(lambda s: True, "Answers another question.", -_NEVER)
_OVERALL = _for(_asks("different", "similar"), "Finds a difference of any nature.", 3)
_NOT_OVERALL = _not(
    lambda s: (
        s.question in ("more", "reference from memory") or (s.question == "size" and s.trained)
    ),
    "Answers another question.",
    -_NEVER,
)
_SIZE_BY_DPRIME = _for(
    lambda s: s.question == "size" and not s.trained,
    "Its d' says how large the difference is, not what differs.",
    3,
)
_OVERALL_ONLY = (_OVERALL, _SIZE_BY_DPRIME, _NOT_OVERALL)
_HETEROGENEOUS = _not(
    lambda s: not s.homogeneous, "Portions differ among themselves: assessors would find that.", 4
)
_LOOKS = (
    _not(
        lambda s: s.told_by_looks,
        "Looks give the answer away: assessors would answer by eye.",
        -_NEVER,
    ),
    _not(
        lambda s: not s.looks_alike and s.maskable,
        "Only with the looks masked; check first that nobody sees the difference.",
        1,
    ),
)
_UNTRAINED = _not(lambda s: not s.trained, "Needs a trained panel.", -_NEVER)


def _only_named(s: Situation) -> bool:
    """Whether a named attribute is all that an untrained panel can be asked about."""
    return s.told_by_looks and not s.trained and s.question in ("similar", "size")


_NAMED_INSTEAD = (
    _for(_only_named, "Looks do not say which sample has more of a flavour.", 3),
    _not(
        _only_named,
        "Speaks of the named attribute only, and colour can suggest flavour: mask it if at all "
        "possible, or train the panel for a profile.",
        1,
    ),
    _not(
        lambda s: s.question not in ("more", "reference from memory") and not _only_named(s),
        "Asks about one attribute; the difference may lie elsewhere.",
        -_NEVER,
    ),
    _not(_asks("reference from memory"), "Answers another question.", -_NEVER),
)

_METHODS: tuple[tuple[str, str, str, int, tuple[_Clause, ...]], ...] = (
    ("tetrad", "TETRAD", str(STANDARDS["ISO 6658"]), 4, (
        *_OVERALL_ONLY, _HETEROGENEOUS, *_LOOKS,
        _for(lambda s: s.people < 60, "Most power for the people at hand.", 2),
        _not(lambda s: s.carry_over, "Four tastings: fatigue eats the gain in power.", 4),
        _not(lambda s: s.scarce, "Takes four portions a test.", 1),
    )),
    ("triangle", "TRIANGLE", str(STANDARDS["ISO 4120"]), 3, (
        *_OVERALL_ONLY, _HETEROGENEOUS, *_LOOKS,
        _for(lambda s: True, "Known to most panels.", 1),
        _not(lambda s: s.carry_over, "Three tastings with carry-over.", 2),
    )),
    ("duo-trio", "DUO_TRIO", str(STANDARDS["ISO 10399"]), 3, (
        *_OVERALL_ONLY, _HETEROGENEOUS, *_LOOKS,
        _for(lambda s: s.reference_known, "Easy task with a known reference.", 1),
        _not(lambda s: s.people < 60, "Needs about twice the people of a triangle.", 2),
        _not(lambda s: s.carry_over, "Three tastings with carry-over.", 2),
    )),
    ("two-out-of-five", "TWO_OUT_OF_FIVE", str(STANDARDS["ISO 6658"]), 5, (
        *_OVERALL_ONLY, _HETEROGENEOUS, *_LOOKS,
        _for(lambda s: s.people < 15, "Guessing succeeds only once in ten: few people suffice.", 1),
        _not(lambda s: s.carry_over, "Five tastings.", -_NEVER),
        _not(lambda s: True, "Five tastings tire: best for looks, touch and sound "
             "(common practice, no source).", 2),
        _not(lambda s: s.scarce, "Takes five portions a test.", 2),
    )),
    ("same-different", "", str(STANDARDS["ASTM E2139"]), 2, (
        _for(_asks("different"), "Finds a difference of any nature.", 3),
        _not(_asks("similar"), "Similarity only by way of d-prime, with wide limits.", 4),
        _NOT_OVERALL, _not(_asks("size"), "Answers another question.", -_NEVER),
        _HETEROGENEOUS, *_LOOKS,
        _for(lambda s: s.carry_over, "Two tastings only.", 3),
        _not(lambda s: not s.carry_over, "Answers depend on when people say 'different'.", 2),
    )),
    ("paired comparison", "PAIRED", str(STANDARDS["ISO 5495"]), 2, (
        _for(_asks("more"), "Asks for the attribute itself, the strongest test for it.", 5),
        *_NAMED_INSTEAD,
        _for(lambda s: s.carry_over, "Two tastings only.", 1),
    )),
    ("3-AFC", "THREE_AFC", str(STANDARDS["ISO 13301"]), 3, (
        _for(_asks("more"), "Asks for the attribute itself; guessing succeeds less often.", 4),
        *_NAMED_INSTEAD,
        _not(lambda s: s.carry_over, "Three tastings with carry-over.", 2),
        _not(lambda s: s.scarce, "Takes three portions a test.", 1),
    )),
    ("A - not A", "", str(STANDARDS["ISO 8588"]), 1, (
        _for(_asks("reference from memory"), "One sample at a time against memory.", 5),
        _for(lambda s: s.question == "different" and (s.carry_over or s.told_by_looks),
             "Bears differing looks and long aftertaste.", 4),
        _not(lambda s: s.question == "different" and not s.carry_over and not s.told_by_looks,
             "Answers depend on when people say 'A'.", 2),
        _not(_asks("similar"), "The standard excludes conclusions of similarity.", -_NEVER),
        _not(_asks("more", "size"), "Answers another question.", -_NEVER),
        _not(lambda s: not s.reference_known, "Assessors must know the reference by heart.", 4),
    )),
    ("profile", "", str(STANDARDS["ISO 13299"]), 3, (
        _for(_asks("size"), "Says in which attributes the samples differ, and by how much.", 4),
        _for(lambda s: s.question == "similar" and s.told_by_looks,
             "Shows attribute by attribute, whatever the looks, that the flavour lies within the "
             "agreed margins.", 6),
        _not(lambda s: s.question in ("different", "more", "reference from memory")
             or (s.question == "similar" and not s.told_by_looks),
             "Answers another question.", -_NEVER),
        _UNTRAINED,
        _not(lambda s: s.carry_over, "Several samples in a row with carry-over.", 2),
    )),
    ("ranking", "", str(STANDARDS["ISO 8587"]), 4, (
        _for(_asks("more"), "Puts three samples or more in order of the attribute.", 1),
        _not(_asks("different", "similar", "size", "reference from memory"),
             "Answers another question.", -_NEVER),
        _not(lambda s: s.carry_over, "Several tastings with carry-over.", 2),
    )),
    ("A - not A with sureness", "", str(STANDARDS["ISO 8588"]), 1, (
        _for(_asks("reference from memory"), "Says more a ballot than yes and no.", 4),
        _not(_asks("different", "similar", "more", "size"), "Answers another question.", -_NEVER),
        _not(lambda s: not s.reference_known, "Assessors must know the reference by heart.", 4),
    )),
    ("difference from control", "", str(STANDARDS["DIN 10976"]), 3, (
        _for(_asks("size"), "Gives the size of the difference.", 5),
        _for(lambda s: s.question in ("different", "similar") and not s.homogeneous,
             "Bears portions that differ, by a blind control.", 5),
        _not(lambda s: s.question in ("different", "similar") and s.told_by_looks,
             "Looks tell the blind control from the sample.", -_NEVER),
        _for(lambda s: s.question in ("different", "similar") and s.people < 15,
             "Trained scores say more than choices when people are few.", 7),
        _not(_asks("more", "reference from memory"), "Answers another question.", -_NEVER),
        _UNTRAINED,
    )),
    ("grading at the line", "", str(STANDARDS["ISO 20613"]), 12, (
        _for(_asks("batches at the line"), "Many batches a day, in or out, by few graders.", 5),
        _not(lambda s: s.question != "batches at the line", "Answers another question.", -_NEVER),
        _not(lambda s: s.carry_over, "Many samples in a row with carry-over: pause, rinse, spread "
             "them over sittings.", 2),
        _not(lambda s: not s.reference_known, "Graders must know the agreed standard by heart.", 4),
    )),
    ("threshold by rising sets", "", str(STANDARDS["ISO 13301"]), 15, (
        _for(_asks("threshold"), "Rising concentrations, each against two blanks.", 5),
        _not(lambda s: s.question != "threshold", "Answers another question.", -_NEVER),
        _not(lambda s: s.carry_over, "Three samples a concentration with carry-over: pause and "
             "rinse between the sets.", 2),
        _not(lambda s: s.told_by_looks, "Looks give the answer away: mask them.", 4),
    )),
)  # fmt: skip
_OWN = {
    "batches at the line": ("grading at the line",),
    "threshold": ("threshold by rising sets",),
}
"""Questions that one method answers and no other."""


def advise(situation: Situation) -> tuple[Advice, ...]:
    """Methods for a situation, the best fit first, each with its reasons.

    Parameters
    ----------
    situation : Situation

    Returns
    -------
    tuple of Advice
        Every method known here; those that are not possible stand last, with why.

    Raises
    ------
    ArgumentError
        For an unknown question or fewer than one assessor.

    Examples
    --------
    >>> advise(Situation(question="similar", people=60))[0].method
    'triangle'
    >>> advise(Situation(question="different", people=30, carry_over=True))[0].method
    'same-different'
    >>> seen = Situation(question="similar", people=60, looks_alike=False, maskable=True)
    >>> advise(seen)[0].method, advise(seen)[0].condition
    ('triangle', 'looks masked')
    """
    if situation.question not in QUESTIONS:
        raise ArgumentError(
            f"question must be one of {', '.join(QUESTIONS)}; got {situation.question!r}."
        )
    if situation.people < 1:
        raise ArgumentError(f"people must be at least 1; got {situation.people}.")
    scored = [_scored(situation, *method) for method in _METHODS]
    return tuple(advice for _, advice in sorted(scored, key=lambda entry: -entry[0]))


def _scored(
    situation: Situation,
    method: str,
    protocol: str,
    standard: str,
    tasted: int,
    clauses: tuple[_Clause, ...],
) -> tuple[int, Advice]:
    own = _OWN.get(situation.question)
    if own and method not in own:
        clauses = (*clauses, _ELSEWHERE)
    holding = [clause for clause in clauses if clause.when(situation)]
    masked = any(clause is _LOOKS[1] for clause in holding)
    advice = Advice(
        method=method,
        protocol=protocol,
        standard=standard,
        tasted=tasted,
        possible=all(clause.weight > _NEVER for clause in holding),
        reasons=tuple(clause.says for clause in holding if clause.weight > 0),
        against=tuple(clause.says for clause in holding if clause.weight < 0),
        condition=MASKED if masked else "",
    )
    return sum(clause.weight for clause in holding), advice
