"""A real browser on the page; waits on what the page says of itself, as its strict CSP wants."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

DEMO: Final = Path(__file__).parents[2] / "demo"
CHROMIUM: Final = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS: Final = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
    "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
)  # fmt: skip
MS: Final = 60_000.0
"""How long anything may take on a busy computer before a test fails."""

DESK: Final = (1440, 900)
TABLET: Final = (1024, 768)


class Visit:
    """One person at one page, in a browser of its own that remembers nothing of others.

    What the page logs as an error, and what it leaves uncaught, is kept in `faults`.
    """

    def __init__(
        self,
        browser: Browser,
        url: str,
        where: str = "",
        *,
        size: tuple[int, int] = DESK,
        **set: Any,
    ) -> None:
        self.url = url
        self.faults: list[str] = []
        self.context: BrowserContext = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, **set
        )
        self.context.set_default_timeout(MS)
        self.page: Page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", self._heard)
        self.page.goto(f"{url}/#{where}")

    def _heard(self, message: Any) -> None:
        # A server that was killed cannot be reached: the page has words for that.
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.faults.append(message.text)

    def close(self) -> None:
        with contextlib.suppress(Exception):
            self.context.close()

    def go(self, where: str) -> None:
        self.page.goto(f"{self.url}/#{where}")

    def answered(self, question: str) -> None:
        """Wait until the answer shown is done."""
        self.page.wait_for_selector(f'.answer[data-question="{question}"][data-state="done"]')

    def verdict(self, verdict: str) -> None:
        """Wait until the answer shown says this."""
        self.page.wait_for_selector(f'.answer .verdict[data-verdict="{verdict}"]')

    def drawn(self) -> None:
        """Wait until the scene is drawn."""
        self.page.wait_for_selector(".stage[data-pose]")

    def pose(self) -> list[float]:
        """Return the pose drawn [mm, rad]."""
        text = self.page.get_attribute(".stage", "data-pose")
        assert text
        return [float(word) for word in text.split()]

    def field(self, path: str) -> Any:
        """Return where an entry is typed in."""
        return self.page.locator(f'[data-path="{path}"] input').first

    def enter(self, path: str, text: str) -> None:
        """Type an entry and press Enter."""
        field = self.field(path)
        field.fill(text)
        field.press("Enter")

    def written(self, path: str) -> None:
        """Wait until nothing that was typed at an entry is still to be written."""
        self.page.wait_for_selector(f'[data-path="{path}"][data-waiting="false"]')

    def focused(self) -> str:
        """Return the name of what has the focus, as a reader of the screen would say it."""
        name: str = self.page.evaluate(
            """() => {
                const at = document.activeElement;
                if (!at || at === document.body) return "";
                return (at.getAttribute("aria-label") || at.labels?.[0]?.innerText
                    || at.innerText || at.id || at.tagName).trim();
            }"""
        )
        return name
