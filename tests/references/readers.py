"""The reference files of this folder, entry by entry."""

import json
from pathlib import Path

HERE = Path(__file__).resolve().parent


def entries(name, *parts):
    """Entries of `parts` of a file ('values' unless said), by their id."""
    held = json.loads((HERE / name).read_text(encoding="utf-8"))
    found = [entry for part in parts or ("values",) for entry in held[part]]
    assert len({entry["id"] for entry in found}) == len(found)
    return {entry["id"]: entry for entry in found}
