"""The command ``gudgeon print``: which sheets, where to, on what paper, from which day."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pypdfium2 as pdfium
import pytest

from gudgeon.answer import Answer
from gudgeon.faces import terminal
from gudgeon.faces.paper.printing import UnknownSheetError, choose
from gudgeon.faces.terminal import main
from gudgeon.questions import find_questions
from gudgeon.sheets import find_sheets
from gudgeon.sheets.known import Known

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture
def cell(tmp_path: Path) -> Path:
    path = tmp_path / "shop.toml"
    path.write_bytes((DEMO / "half-filled.toml").read_bytes())
    return path


def pages(path: Path) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(path)]


def size_mm(path: Path) -> tuple[float, float]:
    wide, high = pdfium.PdfDocument(path)[0].get_size()
    return round(wide / 72 * 25.4, 1), round(high / 72 * 25.4, 1)


def test_all_sheets_go_beside_the_cell_file(cell: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = cell.read_bytes()
    assert main(["print", str(cell), "--date", "2030-05-17"]) == 0
    target = cell.with_name("shop-paper.pdf")
    assert sorted(path.name for path in cell.parent.iterdir()) == [target.name, cell.name]
    assert cell.read_bytes() == before
    found = pages(target)
    assert "These sheets" in found[0]
    for module in find_sheets().values():
        assert any(module.TITLE in page for page in found), module.NAME
    for name, question in find_questions().items():
        if not getattr(question, "NEEDS_PROGRAM", False):
            assert any(question.ASKS in " ".join(page.split()) for page in found), name
    assert all("2030-05-17" in page for page in found)
    assert size_mm(target) == (210.0, 297.0)
    first = target.read_bytes()
    assert main(["print", str(cell), "--date", "2030-05-17"]) == 0  # ours: written anew
    assert target.read_bytes() == first
    assert "written:" in capsys.readouterr().out


def test_one_question_and_the_page_that_prints(cell: Path) -> None:
    target = cell.with_name("a.html")
    words = ["print", "PAYS", str(cell), "--to", str(target), "--date", "2030-05-17"]
    assert main(words) == 0
    text = target.read_text(encoding="utf-8")
    assert find_questions()["pays"].ASKS in text
    assert "These sheets" not in text  # one sheet needs no list
    assert main(words) == 0
    assert target.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("units", "paper", "size"),
    [
        ("mm", None, (210.0, 297.0)),
        ("in", None, (215.9, 279.4)),
        ("in", "a4", (210.0, 297.0)),
        ("mm", "letter", (215.9, 279.4)),
    ],
)
def test_paper_follows_the_units_unless_it_is_named(
    cell: Path, units: str, paper: str | None, size: tuple[float, float]
) -> None:
    cell.write_text(f'[shop]\nunits = "{units}"\n')
    more = [] if paper is None else ["--paper", paper]
    assert main(["print", str(cell), "pays", *more]) == 0
    assert size_mm(cell.with_name("shop-paper.pdf")) == size


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["turn"], 'do you mean "turns"'),
        (["xyzzy"], "the sheets are: decisions"),
        (["pays", "--to", "a.txt"], "must end in .pdf or .html"),
        (["pays", "--date", "17.5.2030"], "write it as 2030-05-17"),
        (["pays", "--to", "nowhere/a.pdf"], "there is no folder"),
        (["pays", "--paper", "a5"], "is not known here"),
        (["other.toml"], "only one"),
    ],
)
def test_what_cannot_be_done_is_told(
    cell: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    before = set(cell.parent.iterdir())
    assert main(["print", str(cell), *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert set(cell.parent.iterdir()) == before


def test_a_file_that_is_not_ours_is_left_alone(
    cell: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, content in (
        ("drawing.pdf", b"%PDF-1.7\nsomebody's drawing\n%%EOF\n"),
        ("page.html", b"<html>a report of mine</html>"),
    ):
        target = cell.with_name(name)
        target.write_bytes(content)
        assert main(["print", str(cell), "pays", "--to", str(target)]) == 2
        assert "left alone" in capsys.readouterr().err
        assert target.read_bytes() == content
    # A report is no sheet.
    report = cell.with_name("r.html")
    assert main(["report", "pays", str(cell), "--to", str(report)]) == 0
    assert main(["print", str(cell), "pays", "--to", str(report)]) == 2


def test_without_what_typesets_the_way_out_is_told(
    cell: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: None if name == "typst" else real(name)
    )
    assert main(["print", str(cell), "pays"]) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert 'install "gudgeon[paper]"' in told and "--to sheets.html" in told
    assert main(["print", str(cell), "pays", "--to", str(cell.with_name("a.html"))]) == 0


def test_a_fault_of_ours_does_not_lose_the_other_sheets(
    cell: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Known.answer

    def answer(known: Known, name: str) -> Answer:
        return real(known, name) if name != "pays" else 1 // 0  # type: ignore[return-value]

    monkeypatch.setattr(Known, "answer", answer)
    assert main(["print", str(cell), "pays", "turns"]) == 2
    assert '"pays" was not printed' in " ".join(capsys.readouterr().err.split())
    assert len(pages(cell.with_name("shop-paper.pdf"))) == 1


def test_a_cell_file_with_faults_prints_nothing(
    cell: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cell.write_text("[shop]\nunits = 3\n")
    assert main(["print", str(cell), "pays"]) == 2
    assert not cell.with_name("shop-paper.pdf").exists()


def test_names_choose_and_keep_the_order_of_printing() -> None:
    questions, sheets = find_questions(), find_sheets()
    everything = choose([], questions, sheets)
    assert list(everything.questions) == list(questions)
    assert list(everything.sheets) == list(sheets)
    some = choose(["turns", "Pays"], questions, sheets)
    assert (list(some.questions), list(some.sheets)) == (["pays", "turns"], [])
    assert not choose(["decisions"], questions, sheets).sheets
    with pytest.raises(UnknownSheetError, match='"turns"'):
        choose(["tuns"], questions, sheets)


def test_print_is_named_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    assert "print" in capsys.readouterr().out
    assert terminal.__doc__ is not None and "print" in terminal.__doc__
