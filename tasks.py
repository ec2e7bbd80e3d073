"""Make the project's own environment and run a job in it; works the same on every system.

    python tasks.py demo     install, ask every question of the demo cell, write report and sheets
    python tasks.py test     install with the tools of development, run every test
    python tasks.py check    style, types, import contracts
    python tasks.py bench    speed, as ratios to a named reference in the same run
    python tasks.py report-metrology
                             figures of centre finding, accuracy and drift on simulated shops,
                             written to docs/metrology.md; a section and a number: only so much
    python tasks.py page     build the page of `gudgeon show` anew (needs Node.js 20 or newer)
    python tasks.py fuzz     hostile programs for the reader: 100,000, or as many as a number says

Needs nothing but Python 3.11 or newer.  `make demo` and the others call this file.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
HOME = HERE / ".venv"
BIN = HOME / ("Scripts" if os.name == "nt" else "bin")
DEMO = HERE / "demo" / "alder-ford.toml"
REPORT = HERE / "gudgeon-report.html"
SHEETS = HERE / "gudgeon-sheets.pdf"


def run(*words: str | Path) -> int:
    """Run a command of the environment in the project's folder; return its exit code."""
    command = [str(BIN / str(words[0])), *map(str, words[1:])]
    return subprocess.run(command, cwd=HERE, check=False).returncode


def must(*words: str | Path) -> None:
    """Run a command and stop here if it fails."""
    code = run(*words)
    if code:
        sys.exit(code)


def install(extra: str, *, wheels: bool = False) -> bool:
    """Make .venv and install the project with the pinned versions, unless that is done already.

    With `wheels` only what need not be built is installed, and it is no fault where that fails.
    """
    wanted = hashlib.sha256(
        (HERE / "pyproject.toml").read_bytes() + (HERE / "constraints.txt").read_bytes()
    ).hexdigest()
    stamp = HOME / f"installed-{extra or 'plain'}"
    if stamp.is_file() and stamp.read_text(encoding="ascii") == wanted:
        return True
    if not (BIN / ("python.exe" if os.name == "nt" else "python")).exists():
        print("making .venv ...", flush=True)
        venv.create(HOME, with_pip=True)
    print("installing (a minute or two the first time) ...", flush=True)
    target = f".[{extra}]" if extra else "."
    command = [
        "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
        "--constraint", "constraints.txt", "--editable", target,
    ]  # fmt: skip
    if wheels:
        command += ["--only-binary", ":all:"]
        if run(*command):
            return False
    else:
        must(*command)
    stamp.write_text(wanted, encoding="ascii")
    return True


def demo() -> int:
    """Ask everything of the demo cell; its verdicts are part of the demo, not a failure."""
    install("bound,web,paper")
    code = run("gudgeon", "ask", DEMO)
    if code == 2:
        return code
    must("gudgeon", "report", DEMO, "--to", REPORT)
    must("gudgeon", "print", DEMO, "--to", SHEETS)
    return 0


def test() -> int:
    """Run every test, the files of tests shared out over the processor's cores."""
    install("dev")
    return run("python", "-m", "pytest", "--numprocesses=auto", "--dist=loadfile")


def check() -> int:
    """Run style, types and import contracts; report all of them before failing."""
    install("dev")
    codes = [
        run("ruff", "check", "."),
        run("ruff", "format", "--check", "."),
        run("mypy"),
        run("lint-imports", "--no-logo"),
    ]
    return max(codes)


def bench() -> int:
    """Print the table of speed ratios."""
    install("dev")
    if not install("dev,reference", wheels=True):
        print(
            "the libraries beside which proofs of clearance are measured cannot be installed here"
        )
    codes = [
        run("python", HERE / "benchmarks" / "ratios.py"),
        run("python", "-m", "benchmarks.order_paths"),
    ]
    return max(codes)


def page() -> int:
    """Build the page anew; its built files are part of the project."""
    install("dev")
    return run("python", HERE / "page" / "built.py")


def fuzz(inputs: int = 100_000) -> int:
    """Read so many hostile programs both ways; what breaks is left in the folder, with its name."""
    install("dev,fuzz")
    return run("python", HERE / "fuzz" / "read_program.py", f"-runs={inputs}")


def metrology(words: list[str]) -> int:
    """Simulate shops whose truth is known; a whole report takes hours, a section can be named."""
    install("dev")
    sections = [word for word in words if not word.isdecimal()]
    counts = [word for word in words if word.isdecimal()][:1]
    more = [f"--cells={count}" for count in counts]
    page = Path("docs") / "metrology.md"
    return run("python", "-m", "benchmarks.metrology", *sections, *more, "--to", page)


def main(words: list[str]) -> int:
    """Run the job named in `words`."""
    jobs = {
        "demo": demo, "test": test, "check": check, "bench": bench, "fuzz": fuzz, "page": page,
    }  # fmt: skip
    if sys.version_info < (3, 11):  # noqa: UP036 - told here, before anything is installed
        print(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]}")
        return 2
    if words[:1] == ["fuzz"] and len(words) == 2 and words[1].isdecimal():
        return fuzz(int(words[1]))
    if words[:1] == ["report-metrology"]:
        return metrology(words[1:])
    if len(words) != 1 or words[0] not in jobs:
        print(__doc__)
        return 2
    return jobs[words[0]]()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
