"""The report: one file, offline, no script, drawings checked, every part of every answer in it."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree, html

from gudgeon.answer import Answer, Column, Figure, Picture, Table, Verdict
from gudgeon.faces.gauge import gauge_svg
from gudgeon.faces.report import MARK, DrawingError, drawing_markup, write_report
from tests.faces.samples import ANSWERS, ASKS, HOLDS

HOSTILE = "</title></style><script>alert(1)</script>\x1b[2J\x00 & <b>\u202e"
INPUTS = [("heron.toml", "ab" * 32)]


def report(answers: tuple[Answer, ...] = ANSWERS, name: str = "Heron Lane", **more: object) -> str:
    return write_report(answers, name, asks=ASKS, date="2030-05-17", inputs=INPUTS, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def page() -> html.HtmlElement:
    return html.document_fromstring(report())


def test_the_same_answers_give_the_same_report() -> None:
    assert report() == report()


def test_it_is_well_formed_markup() -> None:
    """Every element is closed: the body reads as XML too."""
    body = report().split("<body>", 1)[1].split("</body>", 1)[0]
    for html_only, xml in (("&plusmn;", ""), ("&nbsp;", ""), ("<br>", "<br/>")):
        body = body.replace(html_only, xml)
    etree.fromstring(f"<body>{body}</body>")


def test_of_a_very_long_table_the_first_rows_stand_on_the_page() -> None:
    rows = tuple((f"block{k}",) for k in range(1000))
    table = Table("blocks", "Blocks", (Column("block", "Block"),), rows)
    text = report((replace(ANSWERS[0], tables=(table,)),))
    assert "block299" in text and "block300" not in text
    assert "the first 300 of 1000 rows" in text


def test_it_loads_nothing_and_runs_nothing(page: html.HtmlElement) -> None:
    text = report()

    assert not page.xpath("//script | //link | //iframe | //img | //object | //embed | //base")
    outside = set(re.findall(r"https?://[^\s\"'<>]+", text))
    assert outside <= {"http://www.w3.org/2000/svg"}  # a name of a language, never fetched
    assert not re.search(r"@import|javascript:|\bon[a-z]+=", text)
    assert all(url.startswith("#") for url in re.findall(r"url\(([^)]*)\)", text))
    assert all(link.startswith("#") for link in page.xpath("//@href"))
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
    assert policy == ["default-src 'none'; style-src 'unsafe-inline'"]


def test_ids_are_unique_and_every_reference_has_its_target(page: html.HtmlElement) -> None:
    ids = page.xpath("//@id")
    named = [*page.xpath("//@aria-labelledby"), *(h[1:] for h in page.xpath("//@href"))]
    named += re.findall(r"url\(#([^)]+)\)", report())

    assert [name for name, count in Counter(ids).items() if count > 1] == []
    assert set(named) <= set(ids)
    assert len(named) > 20


def test_two_pictures_of_one_name_do_not_share_ids() -> None:
    twin = replace(HOLDS, question="fits", pictures=HOLDS.pictures)
    ids = html.document_fromstring(report((HOLDS, twin))).xpath("//@id")

    assert len(ids) == len(set(ids))


def test_every_part_of_every_answer_is_in_it(page: html.HtmlElement) -> None:
    words = " ".join(page.text_content().split())
    for answer in ANSWERS:
        said = [ASKS[answer.question], answer.headline, answer.next_step, answer.verdict.words]
        said += [answer.flips or "", answer.fix or "", *answer.assumed, *answer.cautions]
        said += [*answer.sources, *(figure.label for figure in answer.figures)]
        said += [figure.note for figure in answer.figures]
        said += [table.title for table in answer.tables]
        said += [column.label for table in answer.tables for column in table.columns]
        said += [str(e) for t in answer.tables for r in t.rows for e in r if isinstance(e, str)]
        said += [p.title for p in answer.pictures]
        said += [w for m in answer.missing for w in (m.what, m.where, m.why, m.how_to_get_it)]
        for text in said:
            shown = text.replace("+-", "\u00b1").replace("N*m", "N\u00b7m")
            assert " ".join(shown.split()) in words
    assert "2030-05-17" in words and "ab" * 32 in words and "heron.toml" in words


def test_headings_go_down_by_single_steps(page: html.HtmlElement) -> None:
    levels = [int(h.tag[1]) for h in page.xpath("//h1 | //h2 | //h3 | //h4")]

    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_pictures_have_a_name_for_those_who_do_not_see_them(page: html.HtmlElement) -> None:
    drawn = page.xpath("//svg[@role='img']")

    assert len(drawn) == 3 + sum(bool(gauge_svg(f)) for a in ANSWERS for f in a.figures)
    for svg in drawn:
        title = page.get_element_by_id(svg.get("aria-labelledby"))
        assert title.text_content().strip()
    for svg in page.xpath("//svg[not(@role)]"):
        assert svg.get("aria-hidden") == "true"
    assert page.get("lang") == "en-GB"
    assert page.xpath("//meta[@name='viewport']")


def test_each_verdict_has_its_own_shape() -> None:
    shapes = set()
    for verdict in Verdict:
        answer = replace(ANSWERS[1], verdict=verdict)
        found = re.search(r'<svg class="shape".*?</svg>', report((answer,)))
        assert found is not None
        shapes.add(found[0])

    assert len(shapes) == len(Verdict)


def test_one_ink_only() -> None:
    """Colours: the ink (as a hex or as rgb for its washes) and two papers."""
    colours = set(re.findall(r"#[0-9a-fA-F]{6}\b|rgba?\([^)]*\)", report()))
    inks = {c for c in colours if c.startswith("rgba(46, 35, 71,")}  # = #2e2347

    assert colours - inks <= {"#2e2347", "#faf8f3", "#ffffff", "#16202b"}


def test_paper_breaks_between_questions_and_not_within_a_figure() -> None:
    css = report().split("@media print", 1)[1]

    assert re.search(r"\.question \{[^}]*break-before: page", css)
    assert re.search(r"\.figure \{[^}]*break-inside: avoid", report())
    assert re.search(r"\nfigure \{[^}]*break-inside: avoid", report())


def test_the_mark_stands_early_enough_to_be_found() -> None:
    assert MARK.encode() in report(name="x" * 500).encode()[:2000]


def test_hostile_text_stays_text() -> None:
    answer = replace(
        HOLDS,
        headline=HOSTILE,
        assumed=(HOSTILE,),
        pictures=(Picture("p", HOSTILE, HOLDS.pictures[0].svg),),
        figures=(Figure("f", HOSTILE, 1.0, HOSTILE, 0.5, note=HOSTILE),),
    )
    text = report((answer,), HOSTILE, failed=[HOSTILE], warnings=[HOSTILE])
    page = html.document_fromstring(text)

    assert not page.xpath("//script | //b[not(parent::p or parent::li)]")
    assert "<script>" not in text
    assert not set("\x00\x1b\u202e") & set(text)


def svg(inside: str, attributes: str = "") -> Picture:
    head = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" '
    return Picture("p", "title", f"{head}{attributes}>{inside}</svg>")


@pytest.mark.parametrize(
    "inside",
    [
        "<script>alert(1)</script>",
        "<foreignObject><p xmlns='http://www.w3.org/1999/xhtml'>x</p></foreignObject>",
        "<a href='http://example.org'><path d='M0 0'/></a>",
        "<path d='M0 0' onclick='alert(1)'/>",
        "<path d='M0 0' href='#x'/>",
        "<image href='x.png'/>",
        "<use href='#x'/>",
        "<style>* { fill: red }</style>",
        "<path style='fill: url(http://example.org)'/>",
        "<path fill='url(http://example.org)'/>",
        "<path fill='url(#ok) url(//example.org)'/>",
        "<animate attributeName='x'/>",
        "<path xmlns:xlink='http://www.w3.org/1999/xlink' xlink:href='#x'/>",
        "<circle r='javascript:alert(1)'/>",
        "<path",
        "<!-- <script> -->",
        "<other xmlns='urn:x'/>",
    ],
)
def test_drawings_that_are_more_than_drawings_are_refused(inside: str) -> None:
    with pytest.raises(DrawingError):
        drawing_markup(svg(inside), "p")


@pytest.mark.parametrize("text", ["", "<p/>", "<!DOCTYPE svg [<!ENTITY a 'b'>]><svg/>", "plain"])
def test_what_is_not_an_svg_element_is_refused(text: str) -> None:
    with pytest.raises(DrawingError):
        drawing_markup(Picture("p", "title", text), "p")


def test_a_refused_picture_is_named_in_the_report() -> None:
    answer = replace(HOLDS, pictures=(svg("<script/>"),))

    assert "This picture was left out" in report((answer,))
    assert "<script" not in report((answer,))


def test_references_inside_a_drawing_follow_its_ids() -> None:
    drawn = svg("<defs><clipPath id='a'/></defs><g clip-path='url(#a)'/>")
    markup = drawing_markup(drawn, "turns-1")

    assert 'id="turns-1-a"' in markup and "url(#turns-1-a)" in markup


def test_questions_that_failed_are_told() -> None:
    text = report((HOLDS,), failed=["turns"], warnings=["the letter is unusual"])

    assert "Not worked out" in text and "the letter is unusual" in text


# --- the small scales ------------------------------------------------------------------------


def places(figure: Figure) -> dict[str, float]:
    """Return where value, limit and the hatched side stand, in pixels."""
    text = gauge_svg(figure)
    root = etree.fromstring(text)
    ns = {"s": "http://www.w3.org/2000/svg"}
    found = {"value": float(root.xpath("//s:circle/@cx", namespaces=ns)[0])}
    paths = root.xpath("//s:g//s:path", namespaces=ns)
    for path in paths:
        xs = [float(x) for x in re.findall(r"(-?[\d.]+) -?[\d.]+", path.get("d"))]
        ys = [float(y) for y in re.findall(r"-?[\d.]+ (-?[\d.]+)", path.get("d"))]
        if "hatch" in path.get("fill", ""):
            found |= {"bad_from": min(xs), "bad_to": max(xs)}
        elif path.get("stroke-width") == "2.4" and max(ys) - min(ys) > 20.0:
            found["limit"] = xs[0]
        elif path.get("stroke-width") == "2.4" and len(set(ys)) == 1:
            found |= {"low": min(xs), "high": max(xs)}
    return found


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-1e6, 1e6),
    st.none() | st.floats(1e-3, 1e5),
    st.floats(-1e6, 1e6),
    st.sampled_from(["max", "min"]),
)
def test_the_bad_side_is_hatched_and_the_value_stands_where_it_belongs(
    value: float, spread: float | None, limit: float, kind: str
) -> None:
    at = places(Figure("f", "f", value, "mm", spread, limit, kind))  # type: ignore[arg-type]

    edge = at["bad_from"] if kind == "max" else at["bad_to"]
    assert edge == pytest.approx(at["limit"], abs=0.02)
    assert at["bad_to"] - at["bad_from"] > 5.0  # the bad side can always be seen
    if abs(value - limit) > 1e-9 + 1e-3 * max(abs(value), abs(limit)) + (spread or 0.0):
        assert (at["value"] < at["limit"]) == (value < limit)
    if spread:
        assert at["low"] <= at["value"] <= at["high"]
        half = 0.5 * (at["high"] - at["low"])
        if half > 1.0:  # long enough to measure against; ends are rounded to 0.01 px
            wanted = half / spread * (limit - value)
            assert at["limit"] - at["value"] == pytest.approx(wanted, abs=0.05, rel=0.02)


def test_a_figure_without_limit_and_uncertainty_has_no_scale() -> None:
    assert gauge_svg(Figure("f", "f", 3.0, "mm")) == ""
    assert gauge_svg(Figure("f", "f", 3.0, "mm", 0.1)) == "", "no limit, no room to show"
    assert gauge_svg(Figure("f", "f", None, "mm", 0.1, 3.0, "max")) == ""
    assert gauge_svg(Figure("f", "f", float("inf"), "mm", 0.1, 3.0, "max")) == ""
