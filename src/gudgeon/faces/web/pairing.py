"""Letting a tablet in: a code shown in the terminal, entered once, then a cookie.

The code is compared in constant time, is good for one device, and after a few wrong tries another
one is shown; after many the door stays shut until the server is started anew.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from html import escape
from typing import Final
from urllib.parse import parse_qs

__all__ = ["Pairing", "pairing_page"]

TRIES: Final = 5
"""Wrong tries at one code."""

TRIES_IN_ALL: Final = 50
"""Wrong tries until the server is started anew: 1 in 2,000,000 to guess a code of 8 digits."""

DEVICES_MOST: Final = 20
CODE_DIGITS: Final = 8

_STYLE: Final = b"""\
:root { color-scheme: light dark; }
body { font: 1.25rem/1.5 sans-serif; max-width: 32rem; margin: 10vh auto; padding: 0 1rem; }
input, button { font: inherit; min-height: 3rem; padding: 0 0.75rem; box-sizing: border-box; }
input { width: 12rem; letter-spacing: 0.1em; }
label { display: block; margin-bottom: 0.5rem; }
"""


class Pairing:
    """Codes and devices of one start of the server.

    Parameters
    ----------
    port : int
        Of the server: the cookie is named by it, as cookies are shared between ports.
    show : callable
        Gets each new code as it is to be shown in the terminal.
    """

    def __init__(self, port: int, show: Callable[[str], None]) -> None:
        self.cookie = f"gudgeon-{port}"
        self._show = show
        self._devices: list[bytes] = []
        self._wrong = 0
        self._code = ""
        self._new_code()

    @property
    def shut(self) -> bool:
        """Whether no further device is let in."""
        return self._wrong >= TRIES_IN_ALL

    def enter(self, code: str) -> str | None:
        """Return the token of a new device; ``None`` if the code is wrong or the door is shut."""
        if self.shut:
            return None
        given = "".join(c for c in code[:40] if c.isascii() and c.isdigit())
        if not hmac.compare_digest(given.encode(), self._code.encode()):
            self._wrong += 1
            if self.shut:
                self._show("")
            elif self._wrong % TRIES == 0:
                self._new_code()
            return None
        token = secrets.token_urlsafe(32)
        self._devices = [*self._devices, _hashed(token)][-DEVICES_MOST:]
        self._new_code()
        return token

    def knows(self, cookies: str) -> bool:
        """Tell whether a Cookie header holds the token of a device that was let in."""
        known = False
        for part in cookies.split(";")[:50]:
            name, _, value = part.strip().partition("=")
            if name != self.cookie:
                continue
            given = _hashed(value)
            for device in self._devices:  # all of them: the time tells nothing
                known |= hmac.compare_digest(given, device)
        return known

    def _new_code(self) -> None:
        self._code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._show(f"{self._code[:4]} {self._code[4:]}")


def pairing_page(
    pairing: Pairing, method: str, path: str, body: bytes
) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
    """Return status, headers and body of the page where the code is entered."""
    if path == "/pair.css":
        return 200, [(b"content-type", b"text/css; charset=utf-8")], _STYLE
    status, words = 200, ""
    if method == "POST":
        try:
            fields = parse_qs(body.decode("utf-8", "replace"), max_num_fields=3)
        except ValueError:
            fields = {}
        token = pairing.enter("".join(fields.get("code", [])[:1]))
        if token is not None:
            cookie = f"{pairing.cookie}={token}; HttpOnly; SameSite=Strict; Path=/"
            return 303, [(b"location", b"/"), (b"set-cookie", cookie.encode())], b""
        status = 403
        words = "That is not the code that the terminal shows now."
        if pairing.shut:
            words = "Too many wrong codes: stop the server and start it again."
    page = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n<title>Gudgeon: pair this device'
        '</title>\n<link rel="stylesheet" href="/pair.css">\n</head>\n<body>\n'
        "<h1>Pair this device</h1>\n"
        f'<p role="alert">{escape(words)}</p>\n'
        '<form method="post" action="/pair">\n'
        '<label for="code">The code that the terminal shows on the computer:</label>\n'
        '<input id="code" name="code" inputmode="numeric" autocomplete="off" maxlength="20" '
        "autofocus>\n<button>Pair</button>\n</form>\n"
        "<p>The connection is plain HTTP: whoever is on the shop's network can read along. "
        "Use it only in a network that you trust.</p>\n</body>\n</html>\n"
    )
    return status, [(b"content-type", b"text/html; charset=utf-8")], page.encode()


def _hashed(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "replace")).digest()
