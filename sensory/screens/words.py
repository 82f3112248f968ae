"""What do the words of a product mean, and how are their reference standards made?"""

from __future__ import annotations

import re
from datetime import date, timedelta
from functools import partial

import streamlit as st

from ..base.errors import RecordError
from ..base.results import several
from ..catalogue.attributes import DefinedAttribute, ReferenceStandard, Vocabulary
from ..panel.vocabulary_desk import define, remove_word, standard_made, versions
from ..release.batch_records import ProductRecord
from .candidates import TAKEN, candidates_part
from .frame import acting, day, desk, plain, shown_errors
from .parts import act, choose, show_table
from .typed import NUMBER, SPAN, number_of

CHOSEN = "words-product"
_NEW = "a new word"
_ASKS = (
    "Reference standards, one a line: name; recipe; intensity; accepted range; allergens. "
    "As in 'sour base; citric acid, 1.2 g in 1 l of water; 5; 4.5 to 5.5; none'"
)


def page() -> None:
    """Choose a product; its words with their standards, and what they were before."""
    st.title("Words and reference standards")
    with shown_errors():
        products = [record.name for record in desk().nouns(ProductRecord)]
        if not products:
            st.info("Enter a product first, on the page Products.")
            return
        product = choose("Product", products, st.session_state.get(CHOSEN), "words-of")
        st.session_state[CHOSEN] = product
        words = desk().noun(Vocabulary, product)
        if words is None:
            st.markdown("No word is defined yet: ballots show the names of the attributes only.")
        else:
            _words(words)
            _standards(words)
        candidates_part(product, words)
        taken = st.session_state.get(TAKEN, "")
        with st.expander("Define a word", expanded=words is None or bool(taken)):
            _define(product, words)
        if words is not None:
            _earlier(words)


def _words(words: Vocabulary) -> None:
    st.markdown(
        f"**Version {words.version}**, since {day(words.since)}; intensities on a scale of "
        f"{words.low:g} to {words.high:g}. A question takes the version of the day and keeps it."
    )
    show_table(
        [
            {
                "word": plain(each.attribute),
                "definition": plain(each.definition),
                "how to assess": plain(each.assess),
                "ends of the scale": plain(" to ".join(filter(None, _ends(each)))),
            }
            for each in words.attributes
        ]
    )


def _ends(word: DefinedAttribute) -> tuple[str, str]:
    return word.low_word, word.high_word


def _standards(words: Vocabulary) -> None:
    st.subheader("Reference standards")
    there = [(each, standard) for each in words.attributes for standard in each.standards]
    if not there:
        st.markdown("None yet.")
        return
    today = date.today().isoformat()
    show_table(
        [
            {
                "word": plain(each.attribute),
                "standard": plain(standard.name),
                "recipe": plain(standard.recipe),
                "intensity": f"{standard.intensity:g} ({standard.low:g} to {standard.high:g})",
                "allergens": plain(standard.allergens),
                "made on": day(standard.made_on),
                "usable until": day(standard.usable_until),
                "today": "⚠ not usable" if standard.lacks(today) else "✓ usable",
            }
            for each, standard in there
        ]
    )
    _made(words, there)


def _made(words: Vocabulary, there: list[tuple[DefinedAttribute, ReferenceStandard]]) -> None:
    """Which standard was made, when, and how long it is usable."""
    labels = [f"{standard.name} ({each.attribute})" for each, standard in there]
    which, made, until, button = st.columns(4, vertical_alignment="bottom")
    label = which.selectbox("Standard", labels, key="made-standard")
    made_on = made.date_input("Made on", date.today(), key="made-on")
    usable = until.date_input("Usable until", date.today() + timedelta(days=7), key="made-until")
    word, standard = there[labels.index(label)]
    record = partial(
        standard_made,
        desk(),
        words.product,
        word.attribute,
        standard.name,
        made_on=str(made_on),
        usable_until=str(usable),
        who=acting(),
    )
    act("Record as made", "made-record", record, place=button)


def _define(product: str, words: Vocabulary | None) -> None:
    known = {each.attribute: each for each in (words.attributes if words else ())}
    chosen = choose("Word", [_NEW, *known], _NEW, f"word-{product}")
    now, key = known.get(chosen), f"{product}-{chosen}-{words.version if words else 0}"
    taken = st.session_state.get(TAKEN, "")
    name = chosen if now else st.text_input("The word", taken, key=f"word-name-{key}-{taken}")
    definition = st.text_input(
        "Definition: what is meant", now.definition if now else "", key=f"word-means-{key}"
    )
    assess = st.text_input(
        "How it is assessed (optional)", now.assess if now else "", key=f"word-how-{key}"
    )
    low, high = st.columns(2)
    usual = "(empty: the usual one)"
    low_word = low.text_input(
        f"Word at the low end {usual}", now.low_word if now else "", key=f"word-low-{key}"
    )
    high_word = high.text_input(
        f"Word at the high end {usual}", now.high_word if now else "", key=f"word-high-{key}"
    )
    lines = "\n".join(map(_as_typed, now.standards)) if now else ""
    typed = st.text_area(_ASKS, lines, key=f"word-standards-{key}")
    bottom = top = None
    if words is None or not words.standards:
        ends = (words.low, words.high) if words else (0.0, 10.0)
        bottom = low.number_input("Lowest score", value=ends[0], key=f"word-bottom-{product}")
        top = high.number_input("Highest score", value=ends[1], key=f"word-top-{product}")
    why = st.text_input("Why", key=f"word-why-{key}")

    def keep() -> None:
        word = DefinedAttribute(
            attribute=" ".join(name.split()),
            definition=definition.strip(),
            assess=assess.strip(),
            low_word=low_word.strip(),
            high_word=high_word.strip(),
            standards=standards_typed(typed),
        )
        define(desk(), product, word, low=bottom, high=top, who=acting(), why=why)
        st.session_state.pop(TAKEN, None)

    row = st.container(horizontal=True)
    act("Save the word", "word-save", keep, ready=name.strip() and why.strip(), place=row)
    if now is not None:
        gone = partial(remove_word, desk(), product, chosen, who=acting(), why=why)
        act("Remove the word", "word-remove", gone, ready=why.strip(), place=row)


def _as_typed(standard: ReferenceStandard) -> str:
    span = f"{standard.low:g} to {standard.high:g}"
    return "; ".join(
        (standard.name, standard.recipe, f"{standard.intensity:g}", span, standard.allergens)
    )


def standards_typed(text: str) -> tuple[ReferenceStandard, ...]:
    """The reference standards that were typed, one a line.

    Raises RecordError for a line that is none.

    >>> (base,) = standards_typed("sour base; citric acid, 1.2 g in 1 l; 5; 4,5 to 5.5; none")
    >>> base.intensity, base.low, base.high
    (5.0, 4.5, 5.5)
    """
    standards = []
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        parts = [part.strip() for part in line.split(";", maxsplit=4)]
        span = SPAN.fullmatch(parts[3]) if len(parts) == 5 else None
        if span is None or not re.fullmatch(NUMBER, parts[2]):
            raise RecordError(
                f"Reference standards, line {row}: write name; recipe; intensity; accepted range, "
                f"as in '4.5 to 5.5'; allergens, or 'none'. Got {line.strip()!r}."
            )
        low, high = map(number_of, span.groups())
        standards.append(
            ReferenceStandard(
                name=parts[0],
                recipe=parts[1],
                intensity=number_of(parts[2]),
                low=low,
                high=high,
                allergens=parts[4],
            )
        )
    return tuple(standards)


def _earlier(words: Vocabulary) -> None:
    entries = versions(desk(), words)
    with st.expander(f"{several(len(entries), 'version')} so far"):
        show_table(
            [
                {
                    "version": str(each.version),
                    "since": day(each.since),
                    "change": plain(how),
                    "words": plain(", ".join(word.attribute for word in each.attributes)),
                }
                for each, how in entries
            ]
        )
