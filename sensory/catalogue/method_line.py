"""One line of a ballot that is no forced choice, read cell by cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from ..base.errors import Fault
from ..base.spelling import plain_width, same_person
from .method_columns import MethodColumn, MethodColumns, attributes_in
from .methods import Method
from .scales import agreed_scale

_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
Settings = Mapping[str, Any]
Row = dict[str, Any]


class MethodLine:
    """One line, read cell by cell."""

    def __init__(
        self,
        number: int,
        texts: Mapping[str, str],
        ballot: MethodColumns,
        method: Method,
        settings: Settings,
    ):
        self.number, self.texts, self.ballot = number, texts, ballot
        self.method, self.settings = method, settings
        self.faults: list[Fault] = []
        self.values: Row = {}
        self.missing = 0
        for rule in ballot.rules:
            self.values[rule.name] = self._read(rule)
        self.scores = self._scores() if ballot.attributes else {}

    @property
    def blocked(self) -> bool:
        return any(fault.blocking for fault in self.faults)

    @property
    def key(self) -> tuple[Any, ...]:
        """What belongs to one line only; persons without the differences of typing."""
        values = (self.values.get(name) for name in self.ballot.once)
        return tuple(same_person(str(value)) for value in values)

    def answers(self) -> Iterable[Row]:
        """The answers of this line, a row each."""
        given = {
            name: self.values[name]
            for name in ("assessor", "sample", "replicate")
            if name in self.values
        }
        if self.ballot.attributes:
            for attribute, score in self.scores.items():
                yield given | {"attribute": attribute, "score": score}
        elif not self.missing:
            yield dict(self.values)

    def text(self, name: str) -> str:
        return " ".join(plain_width(self.texts.get(name, "")).split())

    def _read(self, rule: MethodColumn) -> Any:
        text = self.text(rule.name)
        if not text and rule.answer:
            self.missing += 1
            self._note(rule.name, "no answer", "No answer was given.", "Left out.", blocking=False)
            return None
        if not text and rule.required:
            self._note(rule.name, "empty", f"The {rule.name} is missing.", rule.meaning)
            return None
        return _READERS[rule.kind](self, rule, text)

    def _scores(self) -> dict[str, float]:
        """Scores of the attributes; long tables name theirs in a column."""
        agreed = self.method.listed(self.settings, "attributes")
        if "attribute" in self.texts:
            as_agreed = {same_person(name): name for name in agreed}
            name = self.text("attribute")
            places = {as_agreed.get(same_person(name), name): "score"}
        else:
            beyond = attributes_in([self.texts], self.ballot)
            spelled = {same_person(name): name for name in beyond}
            places = {name: spelled.get(same_person(name), name) for name in agreed or beyond}
        found = {}
        for attribute, name in places.items():
            text = self.text(name)
            if not attribute:
                self._note("attribute", "empty", "The attribute is missing.", "Say what is scored.")
            elif not text:
                self.missing += 1
            elif (score := self.score(name, text)) is not None:
                found[attribute] = score
        return found

    def score(self, name: str, text: str) -> float | None:
        """A number on the agreed scale, decimal comma or point."""
        scale = agreed_scale(self.settings)
        low, high = scale.low, scale.high
        if not re.fullmatch(_NUMBER, text, flags=re.ASCII):
            self._note(name, "no number", f"{_shown(text)} is no number.", "Write the score alone.")
            return None
        value = float(text.replace(",", "."))
        if scale.categories and value not in scale.categories:
            self._note(
                name,
                "no category",
                f"{text} is none of the {len(scale.categories)} categories {low:g} to {high:g}.",
                f"Write the whole number that was chosen, from {low:g} to {high:g}.",
            )
            return None
        if not low <= value <= high:
            self._note(
                name,
                "off the scale",
                f"{text} lies off the scale of {low:g} to {high:g}.",
                "Look at the ballot, or agree another scale.",
            )
            return None
        return value

    def _note(
        self, column: str, rule: str, problem: str, advice: str, *, blocking: bool = True
    ) -> None:
        self.faults.append(
            Fault(
                sheet="",
                row=self.number,
                column=column,
                value=self.texts.get(column, ""),
                rule=rule,
                problem=problem,
                advice=advice,
                blocking=blocking,
            )
        )

    def _text(self, rule: MethodColumn, text: str) -> str:
        return text

    def _count(self, rule: MethodColumn, text: str) -> int:
        whole = re.fullmatch(r"([0-9]{1,4})(?:[.,]0*)?", text or "1", flags=re.ASCII)
        if not whole or not int(whole.group(1)):
            self._note(
                rule.name,
                f"bad {rule.name}",
                f"The {rule.name} {_shown(text)} is no whole number from 1.",
                "Write 1, 2 ... or leave it empty for 1.",
            )
            return 1
        return int(whole.group(1))

    def _choice(self, rule: MethodColumn, text: str) -> str | None:
        said = text.casefold().strip()
        for names in rule.choices:
            if said in (name.casefold() for name in names):
                return names[0]
        allowed = ", ".join(names[0] for names in rule.choices)
        self._note(
            rule.name,
            f"unknown {rule.name}",
            f"{_shown(text)} is none of {allowed}.",
            "Look at the ballot and at the serving plan."
            if rule.answer
            else f"Write one of {allowed}.",
        )
        return None

    def _grade(self, rule: MethodColumn, text: str) -> int | None:
        grades = self.method.listed(self.settings, "grades")
        said = [grade.casefold() for grade in grades]
        if text.casefold() in said:
            return said.index(text.casefold()) + 1
        whole = re.fullmatch(r"([0-9]{1,2})(?:[.,]0*)?", text, flags=re.ASCII)
        if whole and 1 <= int(whole.group(1)) <= len(grades):
            return int(whole.group(1))
        self._note(
            rule.name,
            "unknown grade",
            f"{_shown(text)} is none of the agreed grades.",
            f"Write {'; '.join(grades)}, or the number of the grade.",
        )
        return None

    def _rank(self, rule: MethodColumn, text: str) -> float | None:
        if re.fullmatch(_NUMBER, text, flags=re.ASCII):
            value = float(text.replace(",", "."))
            if 1 <= value <= 100 and (2 * value).is_integer():
                return value
        self._note(
            rule.name,
            "no rank",
            f"{_shown(text)} is no rank.",
            "Write 1, 2 ...; samples that are tied share the mean of their ranks, such as 2.5.",
        )
        return None

    def _sample(self, rule: MethodColumn, text: str) -> str:
        planned = (
            self.method.listed(self.settings, "samples")
            if any(one.key == "samples" for one in self.method.settings)
            else []
        )
        if planned and same_person(text) not in map(same_person, planned):
            self._note(
                rule.name,
                "not in the plan",
                f"{_shown(text)} is no sample of the plan.",
                f"Samples are {', '.join(planned)}.",
            )
        return text

    def _score(self, rule: MethodColumn, text: str) -> float | None:
        return self.score(rule.name, text)


_READERS: dict[str, Callable[[MethodLine, MethodColumn, str], Any]] = {
    "name": MethodLine._text,
    "sample": MethodLine._sample,
    "text": MethodLine._text,
    "count": MethodLine._count,
    "choice": MethodLine._choice,
    "grade": MethodLine._grade,
    "score": MethodLine._score,
    "rank": MethodLine._rank,
}


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
