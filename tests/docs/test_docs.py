"""The pages tell what the program does: commands run, pages are those of the modules."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from gudgeon.cell.files import load_text
from gudgeon.faces.terminal import main
from gudgeon.questions import find_questions

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_question_pages_are_those_of_the_modules() -> None:
    """Run ``python docs/make_pages.py`` if this fails."""
    script = ROOT / "docs" / "make_pages.py"
    assert subprocess.run([sys.executable, script, "--check"], check=False).returncode == 0


def test_readme_lists_every_question_and_no_other() -> None:
    listed = re.findall(r"^\| \[`(\w+)`\]\((.*?)\) \| (.*?) \|$", README, re.MULTILINE)
    assert [(name, asks) for name, _, asks in listed] == [
        (name, question.ASKS) for name, question in find_questions().items()
    ]


@pytest.mark.parametrize(
    "page",
    [
        "README.md",
        "ARCHITECTURE.md",
        "CONTRIBUTING.md",
        "docs/reading-programs.md",
        "docs/page.md",
        "docs/paper.md",
        "docs/programs.md",
    ],
)
def test_links_lead_to_files(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert ((ROOT / page).parent / target).is_file(), target


def commands() -> list[str]:
    found = re.findall(r"^    (gudgeon [^#\n]+)", README, re.MULTILINE)
    return [command.strip() for command in found]


def test_commands_of_the_readme_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The prompts of ``start`` are answered with blanks; its file then serves the others."""
    assert len(commands()) == 12
    (tmp_path / "part.nc").write_text("G21 G90 G0\nM30\n", encoding="ascii")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("builtins.input", lambda *_: "")
    for command in commands():
        code = main(command.split()[1:])
        # A blank cell can be told nothing about; anything but bad input is right.
        untold = any(f" {word} " in command for word in ("ask", "order", "template"))
        refused = " write " in command
        assert code == (1 if refused else 3 if untold else 0), command
    assert (tmp_path / "my-report.html").is_file()
    assert (tmp_path / "my-cell-paper.pdf").is_file()


def test_examples_of_the_page_on_reading_can_be_read() -> None:
    page = (ROOT / "docs" / "reading-programs.md").read_text(encoding="utf-8")
    examples = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    assert len(examples) == 3
    assert load_text("".join(examples)).faults == ()


def test_every_folder_is_in_the_picture_of_the_architecture() -> None:
    text = (ROOT / "ARCHITECTURE.md").read_text(encoding="utf-8")
    folders = {path.parent.name for path in (ROOT / "src" / "gudgeon").glob("*/__init__.py")}
    named = set(re.findall(r"^\| \d \| `(\w+)` \|", text, re.MULTILINE))
    assert folders <= named


def test_tasks_names_its_jobs() -> None:
    done = subprocess.run(
        [shutil.which("python") or sys.executable, ROOT / "tasks.py", "nonsense"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    for job in ("demo", "test", "check", "bench", "fuzz"):
        assert f"python tasks.py {job}" in done.stdout
