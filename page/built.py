"""Build the page from its sources, and note from which, so that a test sees a stale build.

Run it with the project's own Python from the project's folder; npm and Node.js 20 or newer do the
work.  Only the result is shipped: nobody who uses Gudgeon needs them.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Final

PAGE: Final = Path(__file__).resolve().parent
BUILT: Final = PAGE.parent / "src" / "gudgeon" / "faces" / "web" / "page"
NOTED: Final = BUILT / "built-from.txt"
OPEN: Final = PAGE / "openapi.json"
FONTS: Final = ("atkinson-hyperlegible-next", "atkinson-hyperlegible-mono")


def sources() -> list[Path]:
    """Return every file that the page is built from."""
    loose = [
        PAGE / name for name in ("index.html", "package.json", "tsconfig.json", "vite.config.ts")
    ]
    return sorted([*loose, *(PAGE / "public").rglob("*.*"), *(PAGE / "src").rglob("*.*")])


def noted() -> str:
    """Return the lines that belong to the sources and to what goes over the wire as they are."""
    from gudgeon.faces.web.routes import page_schema

    lines = [f"{_hash(page_schema().encode())}  wire"]
    for path in sources():
        text = path.read_bytes().replace(b"\r\n", b"\n")
        lines.append(f"{_hash(text)}  {path.relative_to(PAGE).as_posix()}")
    return "\n".join(lines) + "\n"


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:32]


def _run(*words: str) -> None:
    npm = "npm.cmd" if os.name == "nt" else "npm"
    done = subprocess.run([npm, "--silent", *words], cwd=PAGE, check=False)
    if done.returncode:
        sys.exit(done.returncode)


def main() -> None:
    """Build."""
    from gudgeon.faces.web.routes import page_schema

    if shutil.which("npm") is None:
        sys.exit("npm was not found: install Node.js 20 or newer, which brings it")
    OPEN.write_text(page_schema(), encoding="utf-8")
    if not (PAGE / "node_modules").is_dir():
        _run("install", "--no-package-lock", "--no-audit", "--no-fund")
    _run("run", "types")
    _run("run", "check")
    _run("run", "build")
    licences = BUILT / "licences"
    licences.mkdir()
    for name in FONTS:
        folder = PAGE / "node_modules" / "@fontsource-variable" / name
        shutil.copy(folder / "LICENSE", licences / f"{name}.txt")
    for name in ("preact", "three", "@preact/signals"):
        found = PAGE / "node_modules" / name / "LICENSE"
        shutil.copy(found, licences / f"{name.replace('@', '').replace('/', '-')}.txt")
    NOTED.write_text(noted(), encoding="utf-8")
    total = sum(path.stat().st_size for path in BUILT.rglob("*") if path.is_file())
    print(f"built: {total / 1000:.0f} kB")


if __name__ == "__main__":
    main()
