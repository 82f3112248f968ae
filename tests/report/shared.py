"""What stands in a PDF."""

from __future__ import annotations

import io

from pypdf import PdfReader


def pages_of(content: bytes) -> list[str]:
    """The words of each page, however its lines break."""
    pages = PdfReader(io.BytesIO(content)).pages
    return [" ".join(page.extract_text().split()).replace("\u200b", "") for page in pages]


def text_of(content: bytes) -> str:
    return " ".join(pages_of(content))


def fonts_of(content: bytes) -> set[str]:
    return {
        str(font.get_object()["/BaseFont"]).split("+")[-1]
        for page in PdfReader(io.BytesIO(content)).pages
        for font in page["/Resources"]["/Font"].values()
    }


OURS = {"OpenSans", "OpenSans-Semibold"}
