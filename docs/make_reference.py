"""Write what is made from the declarations: two reference pages and the schema of a cell file.

``python docs/make_reference.py`` writes; a test compares.
"""

from __future__ import annotations

from pathlib import Path

from gudgeon.cell.reference import cell_page, readings_page
from gudgeon.cell.schema import schema_text

ROOT = Path(__file__).parent.parent
FILES = {
    "docs/cell-file.md": cell_page,
    "docs/readings.md": readings_page,
    "src/gudgeon/schemas/cell-1.json": schema_text,
}

if __name__ == "__main__":
    for name, text in FILES.items():
        (ROOT / name).write_text(text(), encoding="utf-8", newline="\n")
