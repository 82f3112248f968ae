"""A limit in d-prime as the share that notices in each test, and what each would cost."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from ..base.errors import ArgumentError
from ..choices.protocols import PROTOCOLS, Protocol
from ..choices.size import panel_size

NAMED_ONLY = (
    "A test that asks for an attribute takes it only where the samples differ in that attribute "
    "and in nothing else."
)
COLUMNS = ("protocol", "dprime", "pd_limit", "assessors", "asks_attribute")


def limit_in_each_test(dprime: float, *, alpha: float, beta: float) -> pd.DataFrame:
    """One row a protocol: ``protocol dprime pd_limit assessors asks_attribute``.

    `assessors` is the first size that keeps both risks; NaN where no panel that this program
    plans for does.

    >>> rows = limit_in_each_test(1.0, alpha=0.05, beta=0.05)
    >>> rows.set_index("protocol")["assessors"].astype(int).to_dict()["triangle"]
    356
    """
    rows = list(_rows(dprime, alpha, beta)) if dprime > 0 else []
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _rows(dprime: float, alpha: float, beta: float) -> Iterator[dict[str, object]]:
    for protocol in PROTOCOLS.values():
        share = share_that_notices(protocol, dprime)
        yield {
            "protocol": protocol.name,
            "dprime": dprime,
            "pd_limit": share,
            "assessors": _size(protocol, share, alpha, beta),
            "asks_attribute": protocol.asks_attribute,
        }


def share_that_notices(protocol: Protocol, dprime: float) -> float:
    """Proportion of distinguishers of a protocol at a d-prime."""
    return float(protocol.distinguishers(protocol.proportion_correct(dprime)))


def _size(protocol: Protocol, share: float, alpha: float, beta: float) -> float:
    try:
        return float(panel_size(protocol, alpha=alpha, beta=beta, pd=share).assessors)
    except ArgumentError:  # more than can be planned for, or everybody notices
        return float("nan")
