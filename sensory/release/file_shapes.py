"""How a file was read, kept by name for the next file with the same columns.

Why so
------
Merges of assessors are not kept: spellings of people's names do not belong into the register, which
nothing is erased from. They are proposed anew for each file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..base.spelling import same_person
from ..sessions.file_roles import Role
from ..sessions.file_shape import FileShape
from .product_desk import Desk


def shapes_for(desk: Desk, headings: Sequence[str]) -> tuple[FileShape, ...]:
    """The kept readings that fit a file with these headings, in whatever order they stand; none
    where a heading is there twice.

    Examples
    --------
    >>> from sensory.store.repository import open_store
    >>> shapes_for(open_store("sqlite://"), ("assessor", "sample"))
    ()
    """
    filled = [heading for heading in headings if heading]
    if len(set(map(same_person, filled))) < len(filled):
        return ()  # roles by heading would be given twice
    return tuple(shape for shape in desk.nouns(FileShape) if shape.fits(filled))


def keep_shape(desk: Desk, shape: FileShape, *, who: str) -> FileShape:
    """Keep how a file was read; under a name that is there already the reading is replaced.

    Raises RecordError for a name that cannot be.
    """
    merges = tuple(each for each in shape.merges if each.role != Role.ASSESSOR.value)
    kept = replace(shape, name=" ".join(shape.name.split()), merges=merges)
    with desk.action(who=who, why=f"file read as {kept.name}") as act:
        there = act.noun(FileShape, kept.name)
        if there != kept:
            act.put_noun(kept, expect=there, what="reading of a file")
    return kept
