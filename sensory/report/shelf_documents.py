"""The report of a shelf life as PDF."""

from __future__ import annotations

import json

from ..release.shelf_report import ShelfReport
from .documents import fitted, printed_table, stamp
from .figure_parts import as_svg
from .shelf_figures import shelf_life_figure
from .words import clipped

_SIZES = (10.0, 9.2, 8.4, 7.6)


def shelf_pdf(report: ShelfReport) -> bytes:
    """Finding, picture, what was asked, numbers and limits of the result on one page.

    The type shrinks step by step; the same report gives the same bytes.
    """
    picture = {"figure.svg": as_svg(shelf_life_figure(report.result, 640, 230))}
    words = shelf_words(report)
    tries = [
        picture | {"data.json": json.dumps(words | {"size": size}).encode()} for size in _SIZES
    ]
    return fitted("shelf.typ", tries, report.printed_at, pages=1)


def shelf_words(report: ShelfReport) -> dict[str, object]:
    """Every word and number of the report, as plain data for the template."""
    result = report.result
    headline, *rest = result.says()
    product = clipped(report.product or "Product not named", 60)
    return {
        "kind": "Report of a storage trial: sensory shelf life",
        "title": product,
        "headline": headline,
        "says": rest,
        "figure_words": " ".join(result.says()),
        "picture": result.picture_words(),
        "asked": [[name, clipped(words, 160)] for name, words in report.asked()],
        "numbers": printed_table(result.summary(), note=""),
        "cannot_tell": list(result.cannot_tell),
        "footer": f"{product} · printed {stamp(report.printed_at)} · program version "
        f"{report.version}",
    }
