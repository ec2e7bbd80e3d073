"""Sheets on paper: measured and read from the PDF itself, and from the page that prints."""

from __future__ import annotations

import functools
import html
import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from importlib.resources import files
from typing import Any

import pypdfium2 as pdfium
import pypdfium2.raw as raw
import pytest
import typst
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gudgeon.answer import Missing, Picture
from gudgeon.drawing.plan import Plan
from gudgeon.faces.paper.decisions import decision_data
from gudgeon.faces.paper.drawings import Room, on_paper
from gudgeon.faces.paper.matter import PAPERS, Run, contents_data, sheet_data
from gudgeon.faces.paper.page import write_page
from gudgeon.faces.paper.pdf import MARK, write_pdf
from gudgeon.questions import find_questions
from gudgeon.sheets import find_sheets
from gudgeon.sheets.shape import (
    Box,
    Cautions,
    Drawing,
    Grid,
    Head,
    Heading,
    Listing,
    Sheet,
    Step,
    Steps,
    Words,
)
from tests.sheets.conftest import CELLS, known_of

MM = 72.0 / 25.4
RUN = Run("Old Mill Works", "2030-05-17", False, (("cell.toml", "ab" * 32),), "a4", "0")
BOXES = (Box("tram_left", "dial at the left", "mm"), Box("done", "done", form="tick"))


def table_mm(width: float, height: float) -> Picture:
    """Return a plan of a thing of known size, alone in it."""
    plan = Plan("thing", 0, 0, width, height).rectangle(0, 0, width, height)
    return Picture("thing", "A thing", plan.svg())


SHEET = Sheet(
    "sample",
    "A sample sheet",
    "For the tests; it hangs nowhere.",
    (
        Heading("First heading"),
        Words("A paragraph with +- in it."),
        Words("A reason.", "why"),
        Words("The height is not known; measure it.", "lack"),
        Cautions(("Something hot.",)),
        Steps((Step("one", "Turn it.", "It turns.", "To see.", BOXES, ("Hands off.",)),)),
        Grid("g", "Readings", (Head("id", "id"), Head("x_mm", "x", "mm", True)), (("r1", ""),) * 3),
        Steps((Step("two", "Stop it.", lack="The place is not known."),)),
        Listing("p", "Warm-up", (("G0 Z0", "up"), ("M30", "end")), "Z at the top", "", ("Clear.",)),
        Listing("q", "Jog test", (), refused="It cannot be proven."),
    ),
    (Missing("height", "cell.toml: unit.face_height", "for Z", "Touch it."),),
)


@functools.cache
def decisions(cell: str, paper: str) -> tuple[dict[str, Any], ...]:
    known = known_of(cell)
    run = replace(RUN, paper=paper)
    return tuple(
        decision_data(known.answer(name), question.ASKS, run)
        for name, question in find_questions().items()
        if not getattr(question, "NEEDS_PROGRAM", False)
    )


def opened(sheets: Sequence[dict[str, Any]], run: Run = RUN) -> pdfium.PdfDocument:
    return pdfium.PdfDocument(write_pdf(sheets, run))


def texts(document: pdfium.PdfDocument) -> list[str]:
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def bare(words: str) -> str:
    """Return words without blanks and hyphens, which read otherwise at the end of a line."""
    return re.sub(r"[\s\x02\ufffe-]", "", words)


def strokes(page: pdfium.PdfPage) -> Iterator[tuple[float, float, float, float]]:
    """Yield left, top, right, bottom [mm, y down] of every path, its stroke left out."""
    high = page.get_height()
    for item in page.get_objects(max_depth=8):
        if item.type == raw.FPDF_PAGEOBJ_PATH:
            yield outline(item, high)


def outline(item: Any, high: float) -> tuple[float, float, float, float]:
    """Return the box around the corners of a path, each carried through all matrices."""
    xs, ys = [], []
    chain, holder = [item.get_matrix()], item.container
    while holder is not None:
        chain.append(holder.get_matrix())
        holder = holder.container
    for i in range(raw.FPDFPath_CountSegments(item)):
        segment = raw.FPDFPath_GetPathSegment(item, i)
        x, y = raw.c_float(), raw.c_float()
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        at = (x.value, y.value)
        for matrix in chain:
            at = matrix.on_point(*at)
        xs.append(at[0] / MM)
        ys.append((high - at[1]) / MM)
    return min(xs), min(ys), max(xs), max(ys)


def sizes(page: pdfium.PdfPage) -> list[tuple[float, float]]:
    return [(right - left, bottom - top) for left, top, right, bottom in strokes(page)]


# --- pages


@pytest.mark.parametrize(("cell", "paper"), list(itertools.product(CELLS, PAPERS)))
def test_each_answer_is_on_one_page(cell: str, paper: str) -> None:
    pages = decisions(cell, paper)
    document = opened(pages, replace(RUN, paper=paper))
    assert len(document) == len(pages)
    for said, one in zip(texts(document), pages, strict=True):
        assert "page 1 of 1" in said
        plain = bare(said)
        for words in (one["word"], one["headline"], one["next_step"], *one["cautions"]):
            assert bare(words) in plain
    for page in document:
        wide, high = PAPERS[paper]
        assert page.get_size() == pytest.approx((wide * MM, high * MM), abs=0.01)


def test_figures_that_are_not_kept_are_never_left_out() -> None:
    for cell in CELLS:
        for one in decisions(cell, "a4"):
            told = [figure for figure in one["figures"] if figure["limit"]]
            assert one["must"] <= len(told)
            first = one["figures"][: one["must"]]
            for figure in first:
                assert re.search("over|short|inside the", figure["limit"])


def test_a_page_with_room_shows_all_figures_and_the_picture() -> None:
    pays = decisions("alder-ford", "a4")[0]
    (text,) = texts(opened([pays]))
    assert len(pays["figures"]) == 9
    for figure in pays["figures"]:
        assert bare(figure["label"]) in bare(text)
    assert "Cash in hand" in text
    assert pays["figures_all"] == 16 and "7 more figures" in text


def test_a_page_without_room_leaves_out_figures_that_are_kept() -> None:
    pays = decisions("alder-ford", "a4")[0]
    crowded = {**pays, "cautions": [f"Caution number {i}." for i in range(22)]}
    (text,) = texts(opened([crowded]))
    assert all(f"Caution number {i}." in text for i in range(22))
    assert 3 <= sum(bare(figure["label"]) in bare(text) for figure in pays["figures"]) < 9


def test_same_input_same_bytes_and_marked_as_ours() -> None:
    pages = [sheet_data(SHEET, RUN)]
    made = write_pdf(pages, RUN)
    assert made == write_pdf(pages, RUN)
    assert made.startswith(b"%PDF") and MARK.encode() in made
    assert b"CreationDate" not in made
    assert made != write_pdf(pages, replace(RUN, date="2030-05-18"))


def test_every_page_tells_cell_date_units_inputs_and_counts_its_own_sheet() -> None:
    many = tuple((f"row {i}", "") for i in range(90))
    long = replace(SHEET, name="long", title="A long sheet", blocks=(grid_of(many),))
    run = replace(RUN, inch=True, paper="letter")
    found = texts(opened([sheet_data(SHEET, run), sheet_data(long, run)], run))
    counts = [re.search(r"page (\d+) of (\d+)", text) for text in found]
    told = [(int(one[1]), int(one[2])) for one in counts if one]
    long_pages = len(found) - told[0][1]
    assert long_pages > 2
    expected = [(i + 1, told[0][1]) for i in range(told[0][1])]
    assert told == expected + [(i + 1, long_pages) for i in range(long_pages)]
    for text in found:
        assert "Old Mill Works" in text
        assert "2030-05-17, lengths in inches" in text
        assert f"inputs {run.digest}" in text
    assert all("A long sheet" in text for text in found[-long_pages:])


def test_the_digest_follows_every_input() -> None:
    other = replace(RUN, inputs=(("cell.toml", "ac" * 32),))
    named = replace(RUN, inputs=(("cel1.toml", "ab" * 32),))
    more = replace(RUN, inputs=(*RUN.inputs, ("part.nc", "cd" * 32)))
    turned = replace(more, inputs=more.inputs[::-1])
    assert len({RUN.digest, other.digest, named.digest, more.digest}) == 4
    assert turned.digest == more.digest


def grid_of(rows: tuple[tuple[str, ...], ...]) -> Grid:
    return Grid("g", "Readings", (Head("id", "head of rows"), Head("x", "x", "mm", True)), rows)


def test_tables_break_over_pages_with_their_head() -> None:
    rows = tuple((f"row {i}", "") for i in range(90))
    found = texts(opened([sheet_data(replace(SHEET, blocks=(grid_of(rows),)), RUN)]))
    assert len(found) > 2
    assert all("head of rows" in text for text in found[:-1])
    assert all(any(f"row {i} " in f"{text} " for text in found) for i in range(90))


def test_a_long_narrow_table_stands_in_two_halves() -> None:
    rows = tuple((f"row {i}", "") for i in range(1, 31))
    (text,) = texts(opened([sheet_data(replace(SHEET, blocks=(grid_of(rows),), missing=()), RUN)]))
    assert text.count("head of rows") == 2
    assert all(f"row {i} " in f"{text} " for i in range(1, 31))


def test_a_wide_sheet_is_laid_across() -> None:
    document = opened([sheet_data(replace(SHEET, wide=True), RUN), sheet_data(SHEET, RUN)])
    wide, high = document[0].get_size()
    assert wide > high
    last = document[len(document) - 1].get_size()
    assert last[0] < last[1]


def test_everything_of_a_sheet_is_printed_with_its_mark() -> None:
    text = " ".join(texts(opened([sheet_data(SHEET, RUN)])))
    for words in (
        "First heading",
        "A paragraph with \u00b1 in it.",
        "Why: A reason.",
        "Cannot be stated yet The height is not known; measure it.",
        "Caution Something hot.",
        "1 Caution Hands off. Turn it.",
        "See: It turns.",
        "2 Stop it.",
        "Cannot be stated yet The place is not known.",
        "dial at the left",
        "tram_left",
        "Start in this state: Z at the top",
        "G0 Z0",
        "Not offered It cannot be proven.",
        "Still missing, the most telling first",
        "Touch it.",
    ):
        assert words in text
    assert text.count("Caution") == 3  # and none where there is no hazard


def test_long_words_stay_within_the_margins() -> None:
    run = replace(RUN, cell="W" * 500)
    blocks = (Steps((Step("s", "M" * 300, "W" * 300),)), grid_of((("W" * 300, ""),)))
    sheet = replace(SHEET, lead="W" * 300, blocks=blocks)
    pages = [sheet_data(sheet, run), sheet_data(SHEET, run)]
    document = opened([contents_data(run, pages, ["W" * 300]), *pages], run)
    for page in document:
        wide, high = page.get_size()
        text = page.get_textpage()
        for i in range(text.count_chars()):
            left, bottom, right, top = text.get_charbox(i)
            assert left >= 15.0 * MM and right <= wide - 10.0 * MM
            assert bottom >= 5.0 * MM and top <= high - 5.0 * MM


# --- measured


def test_boxes_are_large_enough_for_a_pen() -> None:
    document = opened([sheet_data(SHEET, RUN)])
    found = [size for page in document for size in sizes(page)]
    assert any(w == pytest.approx(33.0, abs=0.1) and h >= 8.0 for w, h in found)
    ticks = [h for w, h in found if w == pytest.approx(h, abs=0.05) and 5.0 <= w <= 10.0]
    assert len(ticks) == 3  # one a step, and one to tick


def test_rows_to_fill_in_are_high_enough_for_a_pen() -> None:
    blocks = (grid_of(tuple((f"row {i}", "") for i in range(6))),)
    (page,) = opened([sheet_data(replace(SHEET, blocks=blocks, missing=()), RUN)])
    # Rules across the column of names.
    rules = sorted(
        {round(top, 2) for left, top, right, bottom in strokes(page) if bottom - top < 0.01
         and 10.0 < right - left < 60.0}
    )  # fmt: skip
    steps = [b - a for a, b in itertools.pairwise(rules)]
    assert sum(step >= 8.0 for step in steps) >= 6


@pytest.mark.parametrize(
    ("width", "height", "scale"),
    [(400.0, 200.0, 0.2), (180.5, 90.0, 0.5), (60.0, 40.0, 1.0), (20.0, 10.0, 2.0)],
)
@pytest.mark.parametrize("wide", [False, True])
def test_a_scale_is_kept_on_paper(width: float, height: float, scale: float, wide: bool) -> None:
    blocks = (Drawing(table_mm(width, height), scale),)
    (page,) = opened([sheet_data(Sheet("s", "S", "", blocks, wide=wide), RUN)])
    assert any(
        w == pytest.approx(width * scale, abs=0.1) and h == pytest.approx(height * scale, abs=0.1)
        for w, h in sizes(page)
    )
    ratio = f"1:{1 / scale:g}" if scale <= 1 else f"{scale:g}:1"
    assert f"Scale {ratio} on this paper" in texts(opened([sheet_data(
        Sheet("s", "S", "", blocks, wide=wide), RUN)]))[0]  # fmt: skip


def test_a_scale_that_does_not_fit_is_changed_to_the_next_and_told() -> None:
    laid = on_paper(table_mm(1000.0, 400.0), Room(179.0, 188.0), 0.5, "p")
    assert laid["scale"].startswith("Scale 1:10 on this paper; 1:2 does not fit")
    (page,) = opened([sheet_data(Sheet("s", "S", "", (Drawing(table_mm(1000, 400), 0.5),)), RUN)])
    assert any(w == pytest.approx(100.0, abs=0.1) for w, h in sizes(page) if h > 30)


def test_without_a_scale_the_width_is_filled_and_the_bar_tells() -> None:
    document = opened([sheet_data(Sheet("s", "S", "", (Drawing(table_mm(400, 200)),)), RUN)])
    found = [(x1 - x0, y1 - y0, x0, x1) for x0, y0, x1, y1 in strokes(document[0])]
    room = RUN.room().wide
    # The white paper of the drawing fills the width; the thing is the next smaller.
    assert any(wide == pytest.approx(room, abs=0.05) for wide, *_ in found)
    thing = max(wide for wide, high, *_ in found if high > 20.0 and wide < 0.99 * room)
    bar = re.search(r"scale bar (\d+) mm", texts(document)[0])
    assert bar is not None
    halves = [(x0, x1) for wide, high, x0, x1 in found if 0.5 < high < 3.0 and wide > 5.0]
    drawn = max(x1 for _, x1 in halves) - min(x0 for x0, _ in halves)
    assert drawn / thing == pytest.approx(float(bar[1]) / 400.0, rel=2e-3)
    assert thing > 0.85 * room


def test_a_drawing_without_scale_of_its_own_is_not_printed_to_one() -> None:
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect width="9"/></svg>'
    laid = on_paper(Picture("p", "P", svg), Room(100.0, 100.0), 0.5, "p")
    assert "does not say its own scale" in laid["left_out"]
    laid = on_paper(Picture("p", "P", svg.replace("rect", "script")), Room(1, 1), None, "p")
    assert "left out" in laid["left_out"]


# --- letters


@pytest.mark.parametrize("cell", CELLS)
def test_every_letter_of_the_demo_sheets_is_in_our_fonts(cell: str) -> None:
    known = known_of(cell)
    run = replace(RUN, inch=known.findings.units.inch)
    pages = [*decisions(cell, "a4")]
    pages += [sheet_data(module.sheet(known), run) for module in find_sheets().values()]
    document = opened([contents_data(run, pages, ["A warning."]), *pages], run)
    for page in document:
        for item in page.get_objects([raw.FPDF_PAGEOBJ_TEXT], max_depth=8):
            assert "AtkinsonHyperlegible" in item.get_font().get_base_name()


def test_a_sign_that_our_fonts_lack_is_noticed_and_still_printed() -> None:
    run = replace(RUN, cell="Werk \u2192 \u0416\u0423\u041a")
    document = opened([sheet_data(SHEET, run)], run)
    used = {
        item.get_font().get_base_name()
        for item in document[0].get_objects([raw.FPDF_PAGEOBJ_TEXT], max_depth=8)
    }
    assert any("Atkinson" not in name for name in used)
    assert "\u0416\u0423\u041a" in texts(document)[0]


@pytest.mark.parametrize(("name", "own"), [("Werk \u00d6", True), ("\u65e5\u672c", False)])
def test_fonts_of_the_computer_are_asked_only_for_what_ours_lack(
    name: str, own: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def compiler(*words: Any, **more: Any) -> Any:
        asked.append(not more["ignore_system_fonts"])
        return real(*words, **more)

    real = typst.Compiler
    monkeypatch.setattr(typst, "Compiler", compiler)
    run = replace(RUN, cell=name)
    write_pdf([sheet_data(SHEET, run)], run)
    assert asked == [not own]


def test_the_list_of_signs_is_that_of_the_fonts() -> None:
    folder = files("gudgeon.faces.paper").joinpath("fonts")
    listed = set(folder.joinpath("covered.txt").read_text("utf-8").rstrip("\n"))
    ttlib = pytest.importorskip("fontTools.ttLib", reason="fonttools reads the fonts' own lists")
    fonts = [one for one in folder.iterdir() if one.name.endswith(".ttf")]
    assert len(fonts) == 3
    held = [set(ttlib.TTFont(str(one)).getBestCmap()) for one in fonts]
    assert {ord(sign) for sign in listed} == {
        code for code in set.intersection(*held) if chr(code).isprintable()
    }
    assert set("\u00b1\u00b0\u00b7\u2212\u2026\u00d7\u00e4\u00e9\u0159") <= listed
    for one in fonts:
        family = one.name.rsplit("-", 1)[0]
        assert "SIL OPEN FONT LICENSE" in folder.joinpath(f"{family}.txt").read_text("utf-8")


MARKUP = "#let x = 1 *b* _i_ $x^2$ `r` @a <b> // c /* d */ \\ \" ' [] {} = - + #panic() ~ -- ..."


@settings(max_examples=10)
@given(st.text(max_size=40))
@example(MARKUP)
@example("\x00\x1b[2J\u202e\ud800\ufffe\U0001f980")
def test_any_text_goes_in_without_a_crash(words: str) -> None:
    run = replace(RUN, cell=words)
    blocks = (
        Steps((Step("s", words, words, boxes=(Box("b", words, words),)),)),
        Grid("g", words, (Head("a", words, words),), ((words,),)),
        Listing("l", words, ((words, words),), words),
    )
    sheet = Sheet("s", words, words, blocks)
    assert len(opened([sheet_data(sheet, run)], run)) >= 1
    page = write_page([sheet_data(sheet, run)], run)
    assert "<script" not in page
    body = html.unescape(re.sub(r"<[^>]*>", "\n", page[page.index("<body") :]))
    shown = sheet_data(sheet, run)["title"]
    assert shown in body


PRINTED = "".join(
    sign
    for sign in files("gudgeon.faces.paper").joinpath("fonts/covered.txt").read_text("utf-8")
    # Marks that are put over the letter before them, or show only where a line ends.
    if sign not in "\n\u00ad" and not "\u0300" <= sign <= "\u036f" and sign.isprintable()
)


@settings(max_examples=10)
@given(st.text(PRINTED, min_size=1, max_size=24))
@example("#panic(1) *b* $x$")
@example("<a> @b `c`")
@example("\\ \" ' -- ... ~")
def test_text_comes_out_as_itself(words: str) -> None:
    run = replace(RUN, cell=words)
    blocks = (
        Steps((Step("s", words),)),
        Grid("g", "G", (Head("a", "a"), Head("b", "b")), (("first", words),)),
        Listing("l", "L", ((words, ""),), ""),
    )
    sheet = Sheet("s", "S", "", blocks)
    found = texts(opened([sheet_data(sheet, run)], run))[0].replace(" ", "")
    raw_words = "".join(words.split())
    typeset = "".join(sheet_data(sheet, run)["blocks"][0]["steps"][0]["order"].split())
    # Cell, step and table typeset, the block of the program as it is.
    assert found.count(typeset) >= 3
    assert raw_words in found


def test_blocks_of_a_program_are_not_typeset() -> None:
    listing = Listing("l", "L", (("(+- N*m)", "+- is shown"),))
    text = texts(opened([sheet_data(Sheet("s", "S", "", (listing,)), RUN)]))[0]
    assert "(+- N*m)" in text
    assert "\u00b1 is shown" in text


# --- the page that prints


def test_the_page_loads_nothing_and_holds_no_script() -> None:
    pages = [*decisions("alder-ford", "a4"), sheet_data(SHEET, RUN)]
    page = write_page([contents_data(RUN, pages, []), *pages], RUN)
    assert page == write_page([contents_data(RUN, pages, []), *pages], RUN)
    assert "<script" not in page and "javascript:" not in page
    outside = re.findall(
        r'(?:href|src)="|url\((?!#|data:font/ttf)|@import|https?://(?!www\.w3\.org/2000/svg)', page
    )
    assert outside == []
    assert "default-src 'none'" in page
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))


def test_the_page_says_what_the_pdf_says() -> None:
    page = write_page([sheet_data(SHEET, RUN)], RUN)
    body = " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page[page.index("<body") :])).split())
    for words in (
        "Something hot.",
        "Turn it.",
        "Cannot be stated yet The height",
        "tram_left",
        "Not offered It cannot be proven.",
        "G0 Z0",
        "Touch it.",
        RUN.digest,
    ):
        assert words in body
    assert body.count("Caution") == 3
    assert '<td class="right">' not in page


def test_a_scaled_drawing_of_the_page_has_its_width_in_millimetres() -> None:
    laid = sheet_data(Sheet("s", "S", "", (Drawing(table_mm(400, 200), 0.2),)), RUN)
    page = write_page([laid], RUN)
    wide_mm = re.search(r'class="drawing" style="width:([\d.]+)mm"', page)
    per_mm = re.search(r'data-px-per-mm="(\S+)"', page)
    wide_px = re.findall(r'viewBox="\S+ \S+ (\S+) ', page)[-1]
    assert wide_mm and per_mm
    thing_mm = float(per_mm[1]) * 400.0 / float(wide_px) * float(wide_mm[1])
    assert thing_mm == pytest.approx(400.0 * 0.2, abs=0.01)


def test_names_cannot_break_out_of_the_style_sheet() -> None:
    run = replace(RUN, cell='a"; } body { display: none } </style><b>')
    page = write_page([sheet_data(SHEET, run)], run)
    style = page[page.index("<style>") : page.index("</style>")]
    assert "display: none } <" not in style
    assert page.count("</style>") == 1
