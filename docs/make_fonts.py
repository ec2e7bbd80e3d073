"""Make the fonts of the printed sheets from those of the page: whole alphabet, fixed weights.

What typesets the PDF reads TrueType files of one weight; the page carries compressed files of many
weights, split by alphabet.  Their licence (SIL Open Font License 1.1, no reserved name) allows the
change.  Needs `fonttools` and `brotli`, which nothing else here does::

    pip install fonttools brotli
    python docs/make_fonts.py
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from fontTools.merge import Merger
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont

ROOT = Path(__file__).parent.parent
FROM = ROOT / "src" / "gudgeon" / "faces" / "web" / "page"
TO = ROOT / "src" / "gudgeon" / "faces" / "paper" / "fonts"
FAMILIES = {"atkinson-hyperlegible-next": (400, 700), "atkinson-hyperlegible-mono": (400,)}
STYLES = {400: "Regular", 700: "Bold"}


def main() -> None:
    """Write one file a family and weight, the licences, and which signs all of them hold."""
    TO.mkdir(exist_ok=True)
    covered: list[set[int]] = []
    for stem, weights in FAMILIES.items():
        family = stem.replace("-", " ").title()
        for weight in weights:
            with tempfile.TemporaryDirectory() as folder:
                parts = []
                for alphabet in ("latin", "latin-ext"):
                    (source,) = FROM.glob(f"assets/{stem}-{alphabet}-wght-*.woff2")
                    font = TTFont(source, recalcTimestamp=False)
                    font.flavor = None
                    font = instantiateVariableFont(font, {"wght": weight})
                    part = Path(folder) / f"{alphabet}.ttf"
                    font.save(part)
                    parts.append(str(part))
                merged = Merger().merge(parts)
            name(merged, family, STYLES[weight], weight)
            merged.recalcTimestamp = False
            merged.save(TO / f"{stem}-{weight}.ttf")
            covered.append(set(merged.getBestCmap()))
        shutil.copy(FROM / "licences" / f"{stem}.txt", TO / f"{stem}.txt")
    signs = "".join(
        chr(code) for code in sorted(set.intersection(*covered)) if chr(code).isprintable()
    )
    (TO / "covered.txt").write_text(signs + "\n", encoding="utf-8", newline="\n")


def name(font: TTFont, family: str, style: str, weight: int) -> None:
    """Give a font its own family, style and weight, and no other."""
    names = font["name"]
    names.names = [one for one in names.names if one.nameID in (0, 13, 14)]
    plain = f"{family} {style}"
    texts = {
        1: family,
        2: style,
        3: plain,
        4: plain,
        6: plain.replace(" ", "").replace(style, f"-{style}"),
    }
    for number, text in texts.items():
        names.setName(text, number, 3, 1, 0x409)
    font["OS/2"].usWeightClass = weight
    font["OS/2"].fsSelection = 0x20 if weight == 700 else 0x40
    font["head"].macStyle = 1 if weight == 700 else 0
    font["head"].created = font["head"].modified = 0


if __name__ == "__main__":
    main()
