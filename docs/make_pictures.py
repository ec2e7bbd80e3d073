"""Make the pictures of the pages from real output: the terminal, the report, two printed sheets.

``python docs/make_pictures.py`` writes docs/pictures/*.png and needs Chromium on the machine;
``python docs/make_pictures.py paper`` makes those of the sheets only and does without.
"""

from __future__ import annotations

import html
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
PICTURES = ROOT / "docs" / "pictures"
CELL = ROOT / "demo" / "alder-ford.toml"
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--hide-scrollbars",
)  # fmt: skip


def gudgeon(*words: str) -> str:
    """Return what a command prints."""
    command = [sys.executable, "-m", "gudgeon", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    return done.stdout


def shoot(page: Path, picture: str, width: int, height: int) -> None:
    """Write what the browser shows of a page."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        raise SystemExit("the pictures need Chromium; install it and run this again")
    with tempfile.TemporaryDirectory() as profile:
        subprocess.run(
            [browser, *FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}",
             f"--screenshot={PICTURES / picture}", page.resolve().as_uri()],
            check=True, capture_output=True,
        )  # fmt: skip


def print_sheets() -> None:
    """Write a page of an answer and of the commissioning plan as they are printed."""
    import pypdfium2

    with tempfile.TemporaryDirectory() as folder:
        for sheet, words, picture in (
            ("turns", "Do now", "paper-answer.png"),
            ("commissioning", "Square up", "paper-plan.png"),
        ):
            target = Path(folder) / f"{sheet}.pdf"
            gudgeon("print", str(CELL), sheet, "--to", str(target), "--date", "2030-05-17")
            document = pypdfium2.PdfDocument(target)
            page = next(one for one in document if words in one.get_textpage().get_text_range())
            # Twice as fine, then reduced: thin strokes stay even.
            image = page.render(scale=2.6, grayscale=True).to_pil().reduce(2)
            image.quantize(16).save(PICTURES / picture, optimize=True)


def main() -> None:
    """Write all pictures."""
    PICTURES.mkdir(exist_ok=True)
    print_sheets()
    if sys.argv[1:] == ["paper"]:
        return
    with tempfile.TemporaryDirectory() as folder:
        text = gudgeon("ask", "turns", str(CELL)).splitlines()[:46]
        command = "gudgeon ask turns demo/alder-ford.toml"
        page = Path(folder) / "terminal.html"
        page.write_text(
            "<meta charset='utf-8'><body style='margin:0;padding:14px 18px;background:#faf8f3;"
            "color:#2e2347;font:14px/1.4 DejaVu Sans Mono,monospace'><pre style='margin:0'>"
            + html.escape("\n".join([f"$ {command}", "", *text]))
            + "</pre>",
            encoding="utf-8",
        )
        shoot(page, "terminal.png", 720, 980)
        report = Path(folder) / "report.html"
        gudgeon("report", str(CELL), "--to", str(report))
        shoot(report, "report.png", 1000, 1160)


if __name__ == "__main__":
    main()
