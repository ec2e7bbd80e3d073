"""How fast the page is: from start to first page, from a slider's step to the drawn pose.

``.venv/bin/python -m benchmarks.page_speed`` prints it; it needs Chromium, which draws in software
(no graphics processor), so what a shop's own computer needs is less.  The second cell is the demo
with a bumpy ring of 200,000 triangles on its fixture, which nothing can reduce to boxes.
"""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Browser, sync_playwright
from tests.faces.web.running import Running
from tests.page.browsing import CHROMIUM, DEMO, FLAGS, Visit

BUILT = Path(__file__).parents[1] / "src" / "gudgeon" / "faces" / "web" / "page"

MODEL = """
[[models]]
name = "ring"
file = "ring.stl"
unit = "mm"
up = "Z"
counts_as = "fixture"
carried_by = "platter"
measured_from = "fixture"
at = ["0 mm", "0 mm", "200 mm"]
"""

STEPS = """async (count) => {
    const stage = document.querySelector(".stage");
    const gl = stage.querySelector("canvas").getContext("webgl2");
    const slider = document.querySelector("#axis-turn");
    const set = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set;
    const pixel = new Uint8Array(4);
    const spent = [];
    for (let step = 0; step < count; step += 1) {
        const drawn = new Promise((done) => {
            const watch = new MutationObserver(() => {
                watch.disconnect();
                gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel); // waits for it
                done(performance.now());
            });
            watch.observe(stage, { attributes: true, attributeFilter: ["data-pose"] });
        });
        const begun = performance.now();
        set.call(slider, -2 + 0.05 * step);
        slider.dispatchEvent(new InputEvent("input", { bubbles: true }));
        spent.push(await drawn - begun);
        await new Promise((done) => setTimeout(done, 25));
    }
    return spent;
}"""
"""Milliseconds from the slider's step to the end of the drawing, waiting for the frame included."""


def ring(path: Path, around: int = 500, across: int = 200) -> None:
    """Write a closed bumpy ring of 2 x around x across triangles as STL."""
    u, v = np.meshgrid(
        np.arange(around + 1) * 2 * np.pi / around,
        np.arange(across + 1) * 2 * np.pi / across,
        indexing="ij",
    )
    u, v = u % (2 * np.pi), v % (2 * np.pi)
    u[-1], v[:, -1] = 0.0, 0.0
    thick = 14.0 + 1.5 * np.sin(12 * u) * np.cos(5 * v)
    corners = np.stack(
        [
            (70.0 + thick * np.cos(v)) * np.cos(u),
            (70.0 + thick * np.cos(v)) * np.sin(u),
            thick * np.sin(v),
        ],
        axis=-1,
    )
    a, b, c, d = corners[:-1, :-1], corners[1:, :-1], corners[1:, 1:], corners[:-1, 1:]
    triangles = np.concatenate(
        [
            np.stack([a, b, c], axis=2).reshape(-1, 3, 3),
            np.stack([a, c, d], axis=2).reshape(-1, 3, 3),
        ]
    )
    rows = np.zeros(
        len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")]
    )
    rows["corners"] = triangles
    path.write_bytes(bytes(80) + np.uint32(len(rows)).tobytes() + rows.tobytes())


def first_page(browser: Browser, cell: Path) -> tuple[float, float, float, float, float]:
    """Return seconds: server up; then until list, first drawing, first answer, rest of the scene.

    A tab of the browser is opened within that time.
    """
    begun = time.monotonic()
    server = Running(cell, "--port", "0")
    up = time.monotonic() - begun
    begun = time.monotonic()
    here = Visit(browser, server.url)
    here.page.wait_for_selector(".questions a")
    listed = time.monotonic() - begun
    here.page.wait_for_selector(".stage[data-drawn]")
    drawn = time.monotonic() - begun
    here.page.wait_for_selector('.answer[data-state="done"]')
    answered = time.monotonic() - begun
    here.page.wait_for_selector(".change-map")
    rest = time.monotonic() - begun
    here.close()
    server.close()
    return up, listed, drawn, answered, rest


def steps(browser: Browser, cell: Path) -> tuple[dict[str, Any], list[float]]:
    """Return the scene's numbers and the milliseconds of 60 steps of a slider."""
    server = Running(cell, "--port", "0")
    here = Visit(browser, server.url)
    here.drawn()
    scene = server.get("/api/scene")
    for line in server.get("/api/answers"):  # nothing else shall work meanwhile
        words = {"program": line["program"]} if line["program"] else {}
        server.post(f"/api/answers/{line['question']}/stop", **words)
    here.page.wait_for_timeout(2000)
    here.page.evaluate(STEPS, 10)
    found: list[float] = here.page.evaluate(STEPS, 60)
    here.close()
    server.close()
    return scene, found


def main() -> None:
    """Print the figures."""
    weights = {path: path.stat().st_size for path in BUILT.rglob("*") if path.is_file()}
    shown = sum(size for path, size in weights.items() if path.parent.name != "licences")
    print(f"page weight: {shown / 1000:.0f} kB (fonts included, not compressed)")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as leads:
        assert CHROMIUM is not None, "no Chromium on this computer"
        browser = leads.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        place = Path(folder)
        for file in [*DEMO.glob("alder-ford*"), DEMO / "O1201.nc"]:
            shutil.copy(file, place)
        cell = place / "alder-ford.toml"
        for run in range(3):
            print(
                f"load of the computer {os.getloadavg()[0]:.1f}"
                if hasattr(os, "getloadavg")
                else ""
            )
            up, listed, drawn, answered, rest = first_page(browser, cell)
            print(
                f"start {run + 1}: server up {up:.2f} s; then the list {listed:.2f} s, "
                f"the scene {drawn:.2f} s, the first answer {answered:.2f} s, "
                f"what takes proofs in the scene {rest:.2f} s"
            )
        for name in ("demo", "demo and ring"):
            if name != "demo":
                ring(place / "ring.stl")
                cell.write_text(cell.read_text(encoding="utf-8") + MODEL, encoding="utf-8")
            scene, spent = steps(browser, cell)
            spent.sort()
            print(
                f"{name}: {scene['triangles_full']} triangles, {scene['triangles']} while moving: "
                f"step to drawn pose {statistics.median(spent):.1f} ms (median), "
                f"{spent[len(spent) * 9 // 10]:.1f} ms (nine of ten)"
            )
        browser.close()


if __name__ == "__main__":
    main()
