"""Letters on a role: in each language, without a number of the tests, to nobody who is erased."""

from __future__ import annotations

import re

import pytest

from sensory.base.errors import RecordError
from sensory.base.languages import languages
from sensory.panel.assessors import Assessor, Membership, Role, RoleDecision
from sensory.panel.letters import outcome_letter
from sensory.report.printed import printed

from ..report.shared import OURS, fonts_of, pages_of

ADA = Assessor(
    key="k",
    person="Ada Holm",
    entered_on="2026-01-08",
    panels=(Membership(panel="day shift", role=Role.CANDIDATE),),
    languages=("fr", "en"),
)
AT = {"printed_at": "2026-11-28T10:00:00+00:00"}


def decided(role: Role, before: Role = Role.CANDIDATE, by: str = "") -> RoleDecision:
    return RoleDecision(
        panel="day shift", role=role, before=before, decided_on="2026-11-28", decided_by="Mo Lee",
        requalify_by=by,
    )  # fmt: skip


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("role", Role)
def test_a_letter_holds_no_number_beside_its_days(role, language):
    letter = outcome_letter(ADA, decided(role, by="2027-11-28"), language=language, **AT)
    text = " ".join(letter.sentences)
    days = re.findall(r"\d{4}-\d\d-\d\d", text)
    again = ["2027-11-28"] if role in (Role.ASSESSOR, Role.EXPERT) else []
    assert days == [*again, "2026-11-28"]
    assert not re.search(r"[\d%{}]", re.sub(r"\d{4}-\d\d-\d\d", "", text))
    assert "day shift" in text
    assert "Ada Holm" in letter.sentences[0]


def test_who_was_never_in_the_panel_is_not_told_to_have_left_it():
    words = [
        outcome_letter(ADA, decided(Role.LEFT, before), language="en", **AT).sentences[1]
        for before in (Role.CANDIDATE, Role.TRAINING, Role.ASSESSOR)
    ]
    assert ["cannot offer you a place" in each for each in words] == [True, True, False]
    assert "no longer belong" in words[2]


def test_the_pdf_is_in_the_first_language_of_the_person():
    content = printed(outcome_letter(ADA, decided(Role.TRAINING), **AT))
    (page,) = pages_of(content)
    assert "Bonjour Ada Holm" in page
    assert fonts_of(content) <= OURS


def test_there_is_none_to_an_erased_person():
    gone = Assessor(key="k", person="erased 3", entered_on="2026-01-08", panels=ADA.panels)
    with pytest.raises(RecordError, match="name was erased"):
        outcome_letter(gone, decided(Role.TRAINING), **AT)
