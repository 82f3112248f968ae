"""From a plan to ballot lines: the cells that are known before anybody tastes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from ..base.checks import one_count
from ..base.errors import ArgumentError
from ..catalogue.kind import ServingRules
from ..catalogue.tests import find_kind
from .layout import ServedSet
from .plan import ServingPlan


def ballot_lines(
    plan: ServingPlan,
    *,
    set_number: int | None = None,
    replicate: int | None = None,
    first: int = 1,
) -> dict[int, dict[str, str]]:
    """Ballot lines of a plan, with everything filled in but the answers.

    `set_number`: only this set; needed where the sets of a plan are different comparisons, since
        each is a question of its own; not where they are the steps of one series.
    `replicate`: only this replicate.
    `first`: number of the first line.

    Returns by line the texts by column. A forced choice has a line a set, with `assessor`, `order`,
    `code_1` ... and `replicate`; same-different has `pair` and `codes`; all others have a line a
    cup, with `assessor`, `sample`, `code` and `replicate`. Lines stand in the order of serving,
    assessor by assessor.

    Raises ArgumentError when lines of different comparisons, or several rankings of one assessor,
    would come into one table.

    >>> from sensory.serving.planning import serving_plan
    >>> lines = ballot_lines(serving_plan("triangle", ["Anna", "Bo"], seed=7))
    >>> lines[1]["assessor"], sorted(lines[1])
    ('Anna', ['assessor', 'code_1', 'code_2', 'code_3', 'order', 'replicate'])
    """
    start = one_count("first", first)
    design = plan.design
    if set_number is not None and not 1 <= one_count("set_number", set_number) <= design.sets:
        raise ArgumentError(f"set_number must be from 1 to {design.sets}; got {set_number}.")
    if replicate is not None and not 1 <= one_count("replicate", replicate) <= design.replicates:
        raise ArgumentError(f"replicate must be from 1 to {design.replicates}; got {replicate}.")
    serving = find_kind(design.test).serving
    one_table = not design.compares_two or serving.rising
    if not one_table and design.sets > 1 and set_number is None:
        raise ArgumentError(
            f"the plan has {design.sets} sets, each a comparison of its own: give set_number."
        )
    chosen = [
        served
        for served in plan.sets
        if set_number in (None, served.set) and replicate in (None, served.replicate)
    ]
    if not serving.replicates and len({served.assessor for served in chosen}) < len(chosen):
        raise ArgumentError(
            f"an assessor has {len(chosen) // len(plan.assessors)} sets, and a table of rankings "
            "holds one: give replicate or set_number, and a session to each."
        )
    return dict(enumerate(_lines(serving, chosen), start=start))


def _lines(serving: ServingRules, chosen: list[ServedSet]) -> Iterator[dict[str, str]]:
    met: Counter[tuple[str, str]] = Counter()
    for served in chosen:
        if serving.order_column:
            yield _line_of_set(serving, served)
            continue
        names = tuple(served.order) if serving.compares_two else served.samples
        for sample, code in zip(names, served.codes, strict=True):
            met[(served.assessor, sample)] += 1
            line = {"assessor": served.assessor, "sample": sample, "code": code}
            if serving.replicates:
                line["replicate"] = str(met[(served.assessor, sample)])
            yield line


def _line_of_set(serving: ServingRules, served: ServedSet) -> dict[str, str]:
    codes = (
        {"codes": " ".join(served.codes)}
        if serving.codes == "cell"
        else {f"code_{place}": code for place, code in enumerate(served.codes, start=1)}
    )
    order: dict[str, str] = {serving.order_column: served.order}
    if serving.rising:
        order["sample"] = served.samples[served.order.index("B")]
    return {"assessor": served.assessor, **order, **codes, "replicate": str(served.replicate)}
