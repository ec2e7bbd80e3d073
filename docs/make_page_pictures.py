"""Make the pictures of docs/page.md from the page itself, on the demo cell.

Needs Chromium and the tools of development; from the project's folder,
``.venv/bin/python -m docs.make_page_pictures`` writes docs/pictures/page-*.png.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright
from tests.faces.web.running import Running
from tests.page.browsing import CHROMIUM, DEMO, FLAGS, TABLET, Visit

PICTURES = Path(__file__).parent / "pictures"


def main() -> None:
    """Write the pictures."""
    if CHROMIUM is None:
        raise SystemExit("the pictures need Chromium; install it and run this again")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as leads:
        place = Path(folder)
        for file in [*DEMO.glob("alder-ford*"), DEMO / "O1201.nc"]:
            shutil.copy(file, place)
        server = Running(place / "alder-ford.toml", "--port", "0")
        browser = leads.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))

        def shoot(here: Visit, name: str) -> None:
            here.page.wait_for_timeout(800)  # the model at rest, all of it
            here.page.screenshot(path=PICTURES / f"page-{name}.png")
            here.close()

        here = Visit(browser, server.url, "clears/alder-ford.nc")
        here.answered("clears")
        for line in server.get("/api/answers"):
            here.page.wait_for_selector(
                f'.questions a[data-question^="{line["question"]}"][data-state="done"]'
            )
        here.drawn()
        here.page.click("text=Play alder-ford.nc")
        here.page.wait_for_selector(".spots button")
        here.page.locator(".spots button").last.click()
        here.page.wait_for_selector('.gap[data-current="true"]')
        shoot(here, "program")

        here = Visit(browser, server.url, "fits", color_scheme="dark")
        here.answered("fits")
        here.drawn()
        shoot(here, "dark")

        here = Visit(browser, server.url, "entries/unit.face_height")
        here.page.wait_for_selector('[data-path="unit.face_height"] input:focus')
        here.drawn()
        shoot(here, "entries")

        here = Visit(browser, server.url, "pays", size=TABLET, has_touch=True)
        here.answered("pays")
        here.page.tap(".sides >> text=Scene")
        here.drawn()
        here.page.fill('[aria-label="A in deg"]', "60")
        here.page.press('[aria-label="A in deg"]', "Enter")
        here.page.wait_for_selector('.gap[data-current="true"]')
        shoot(here, "tablet")
        server.close()

        # With few readings the next best is proposed.
        file = place / "alder-ford-readings.csv"
        rows = file.read_text(encoding="utf-8").splitlines()[:7]
        file.write_text("\n".join(rows) + "\n", encoding="utf-8")
        server = Running(place / "alder-ford.toml", "--port", "0")
        here = Visit(browser, server.url, "readings", size=TABLET, has_touch=True)
        here.page.wait_for_selector(".proposed li")
        here.page.locator(".proposed button").first.click()
        shoot(here, "readings")
        browser.close()
        server.close()


if __name__ == "__main__":
    main()
