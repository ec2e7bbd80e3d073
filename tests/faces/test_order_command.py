"""The command `order`: seek for longer, stop it, write the program of calls."""

from __future__ import annotations

import json
import re
import signal
from pathlib import Path

import pytest

from gudgeon.faces.order import Until, effort_for, seeking_seconds
from gudgeon.faces.terminal import main
from gudgeon.findings.effort import USUAL_EFFORT

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Return a copy of a demo shop every operation of which has a block that runs it."""
    for file in DEMO.glob("alder-ford*"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    path = tmp_path / "alder-ford.toml"
    text = re.sub(r"^call = .*\n", "", path.read_text("utf-8"), flags=re.MULTILINE)
    head, *operations = text.split("[[operations]]\n")
    calls = [
        f'call = "M98 P{number}"\n{body}' for number, body in enumerate(operations, start=2001)
    ]
    path.write_text("[[operations]]\n".join([head, *calls]), "utf-8")
    return path


def test_the_answer_is_that_of_ask(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["order", str(shop)]) == 0
    told = capsys.readouterr().out
    assert main(["ask", "order", str(shop)]) == 0
    assert told.strip() == capsys.readouterr().out.strip()
    assert "A load of 4 parts takes" in " ".join(told.split())


def test_the_program_of_calls_is_written(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = shop.with_name("load.nc")
    assert main(["order", str(shop), "--to", str(target)]) == 0
    assert "not proven clear" in capsys.readouterr().out
    lines = target.read_text("utf-8").splitlines()
    assert sum(line.startswith("M98") for line in lines) == 12
    assert lines[-1].startswith("M30")
    assert main(["order", str(shop), "--to", str(target)]) == 2
    assert "left alone" in capsys.readouterr().err


def test_no_program_is_written_where_none_is_offered(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop.write_text(shop.read_text("utf-8").replace('call = "M98 P2002"\n', ""), "utf-8")
    target = shop.with_name("load.nc")
    assert main(["order", str(shop), "--to", str(target)]) == 2
    assert "operations[2].call" in capsys.readouterr().err
    assert not target.exists()


def test_it_seeks_for_as_long_as_it_is_told(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["order", str(shop), "--minutes", "0.02", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["question"] == "order"
    assert main(["order", str(shop), "--json"]) == 0
    usual = json.loads(capsys.readouterr().out)

    def run(answer: dict) -> float:
        return next(f["value"] for f in answer["figures"] if f["name"] == "run_time")

    assert run(data) <= run(usual) + 1e-9


@pytest.mark.parametrize("minutes", ["0", "-1", "nan", "1e9"])
def test_a_time_that_is_none_is_refused(
    minutes: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["order", str(shop), "--minutes", minutes]) == 2
    assert "no time to seek for" in capsys.readouterr().err


def test_ctrl_c_ends_the_search_and_not_the_program() -> None:
    with Until(60.0) as until:
        assert until()
        signal.raise_signal(signal.SIGINT)
        assert until.stopped
        assert not until()
        with pytest.raises(KeyboardInterrupt):  # twice is meant
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_the_time_ends_the_search() -> None:
    with Until(1e-6) as until:
        assert not until()


def test_minutes_are_parted_between_search_and_bound() -> None:
    assert effort_for(None, None) is USUAL_EFFORT
    until = Until(10.0)
    effort = effort_for(2.0, until)
    assert effort.keep_going is until
    assert effort.bound + seeking_seconds(2.0) == pytest.approx(120.0)
    assert effort.bound_going is not None
    assert effort.bound_going()
    until.stopped = True
    assert not effort.bound_going()


def test_a_program_of_the_cell_that_is_not_there_is_told_and_not_fatal(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop.with_name("alder-ford.nc").unlink()
    code = main(["ask", "order", str(shop)])
    told = capsys.readouterr()
    assert code == 0
    assert "alder-ford.nc" in told.err
    assert "A load of 4 parts takes" in " ".join(told.out.split())
