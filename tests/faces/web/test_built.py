"""The page that is shipped is the one that its sources make."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

pytest.importorskip("fastapi", reason="the extra `web` is not installed")

ROOT = Path(__file__).parents[3]


def _built() -> ModuleType:
    spec = importlib.util.spec_from_file_location("built", ROOT / "page" / "built.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


BUILT = _built()


def test_the_shipped_page_is_built_from_these_sources() -> None:
    stored = BUILT.NOTED.read_text(encoding="utf-8")
    now = BUILT.noted()
    assert stored == now, "run  make page  and commit what it writes"


def test_the_page_is_light_and_holds_nothing_from_elsewhere() -> None:
    held = [path for path in BUILT.BUILT.rglob("*") if path.is_file()]
    shown = [path for path in held if path.parent.name != "licences"]
    assert sum(path.stat().st_size for path in shown) < 1_500_000
    index = (BUILT.BUILT / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"(?:src|href)=\"(?!/)", index)
    assert not re.search(r"<script(?![^>]*src=)|<style|\sstyle=|\son\w+=", index)
    for path in shown:
        if path.suffix == ".css":
            assert not re.search(r"url\((?![\"']?/|data:)", path.read_text(encoding="utf-8"))
    assert {path.name for path in held if path.parent.name == "licences"} >= {
        "atkinson-hyperlegible-next.txt",
        "three.txt",
        "preact.txt",
    }
