"""Write the page of each question from its module, so that pages and program cannot differ.

``python docs/make_pages.py`` writes; ``--check`` only compares and fails on a difference.
"""

from __future__ import annotations

import inspect
import re
import sys
from pathlib import Path

from gudgeon.questions import find_questions

HERE = Path(__file__).parent / "questions"
HEADINGS = ("What it answers", "Why it matters", "When it can mislead", "Sources")


def page(name: str, doc: str) -> str:
    """Return the page of one question as Markdown."""
    text = inspect.cleandoc(doc)
    for heading in HEADINGS:
        text, found = re.subn(rf"^{heading}\n-+\n", f"## {heading}\n\n", text, flags=re.MULTILINE)
        if not found:
            raise SystemExit(f"question {name}: its docstring lacks the section {heading!r}")
    title, rest = text.split("\n", 1)
    ask = f"Ask it: `gudgeon ask {name} CELL`"
    return f"# {title}\n\n{ask}\n{rest.rstrip()}\n"


def main() -> int:
    """Write or check every page."""
    HERE.mkdir(exist_ok=True)
    pages = {f"{n}.md": page(n, q.__doc__ or "") for n, q in find_questions().items()}
    if "--check" in sys.argv:
        stored = {p.name: p.read_text(encoding="utf-8") for p in HERE.glob("*.md")}
        return int(stored != pages)
    for old in HERE.glob("*.md"):
        if old.name not in pages:
            old.unlink()
    for name, text in pages.items():
        (HERE / name).write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
