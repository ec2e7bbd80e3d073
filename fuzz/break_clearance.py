"""Break each inequality that proofs of clearance rest on, and see whether a test notices.

    python fuzz/break_clearance.py            every change, one after the other
    python fuzz/break_clearance.py 0 5        the first five
    python fuzz/break_clearance.py --plain    without compiling: quicker, and fewer tests
    python fuzz/break_clearance.py --list     what would be changed

Each change is made in a copy of the package in a folder of its own, where the tests of clearance
then run; what no test noticed is told and makes the exit code 1.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

HOME = Path(__file__).resolve().parents[1]
FOLDER = Path(tempfile.gettempdir()) / "gudgeon-broken"

CHANGES: Final = (
    # file, text, what takes its place, what is broken
    ("sweep", "bend = 0.125 * (da", "bend = 0.111 * (da", "sagitta of a point, an eighth"),
    ("sweep", "+ 0.125 * rn *", "+ 0.111 * rn *", "sagitta of a node, an eighth"),
    ("sweep", "da * da * rt + 2.0 * da * dc * rr +", "da * da * rt + da * dc * rr +",
     "both angles at once"),
    ("sweep", "2.0 * da * dc * rr + dc * dc * rr)", "2.0 * da * dc * rr)", "rotary alone"),
    ("sweep", "(da * da * rt + 2.0 * da * dc", "(2.0 * da * dc", "tilt alone"),
    ("sweep", "sagitta = bend + 0.125 * rn * (", "sagitta = bend + 0.0 * rn * (",
     "radius of the node in its sagitta"),
    ("sweep", "low -= rounds + sagitta", "low -= rounds", "sagitta left out"),
    ("sweep", "low -= rounds + sagitta", "low -= sagitta", "rounding radii left out"),
    ("sweep", "away - half - bend -", "away - half -", "balls: arc left out"),
    ("sweep", "away - half - bend -", "away - bend -", "balls: chord left out"),
    ("sweep", "- na.radius - nb.radius - slop > limit", "- na.radius - slop > limit",
     "balls: one radius left out"),
    ("sweep", "seen = 0.125 * (", "seen = 0.111 * (", "sagitta seen from the work"),
    ("sweep", "2.0 * da * slide + 2.0", "2.0", "slide while tilting, seen from the work"),
    ("sweep", "+ 2.0 * dc * way +", "+", "slide while turning, seen from the work"),
    ("sweep", "rt += na.radius + slop", "rt += slop", "radius of the node about the tilt"),
    ("sweep", "z0[2]) + na.radius + slop", "z0[2]) + slop", "radius of the node about the rotary"),
    ("sweep", "low = max(low, other - rounds - seen)", "low = max(low, other - seen)",
     "rounding radii seen from the work"),
    ("sweep", "if turns and not boxed and ia", "if turns and ia", "room of the head, seen turning"),
    ("poses", "gx = max(abs(x - centre[0]) - half[0], 0.0)", "gx = abs(x - centre[0])",
     "balls: room in X left out"),
    ("sweep", "limit = min(best - tol, cap)", "limit = min(best - tol, 0.5 * cap)",
     "left off too early"),
    ("sweep", "if rule == MAY:", "if rule != 0:", "contact counts as allowed"),
    ("sweep", "SLOP: Final = 4e-14", "SLOP: Final = 0.0", "rounding of lengths"),
    ("sweep", "TURNED: Final = 1e-15", "TURNED: Final = 0.0", "rounding of angles"),
    ("sweep", "out[0] = min(floor, min(best - tol, cap))", "out[0] = min(best, cap)",
     "bound taken from the witness"),
    ("parted", "along - slop\n", "along + slop\n", "sign of the rounding"),
    ("parted", "for m in range(1, count):", "for m in range(1, count - 1):", "last pose left out"),
    ("parted", "oh[2] = -h[2] if dz > 0.0 else h[2]", "oh[2] = 0.0", "room in Z left out"),
    ("parted", "oa[0] = na.centre[0] - (na.half[0] if",
     "oa[0] = na.centre[0] - (0.9 * na.half[0] if",
     "box of a node of the head"),
    ("parted", "local[1] = node.centre[1] + (node.half[1] if",
     "local[1] = node.centre[1] + (0.9 * node.half[1] if", "box of a node of the work"),
    ("parted", "return -np.inf, 0.0, share", "return low, up, share", "what meets has no bound"),
    ("box", "bend = min(0.5 * ha * ha, 2.0)", "bend = min(0.44 * ha * ha, 2.0)", "cell: tilt"),
    ("box", "bend += min(0.5 * hc * hc, 2.0)", "bend += min(0.44 * hc * hc, 2.0)", "cell: rotary"),
    ("box", "(rt + turn_c + nb.radius)", "(rt + turn_c)", "cell: radius of the node, tilt"),
    ("box", "bend += min(0.5 * hc * hc, 2.0) * (rr + nb.radius)",
     "bend += min(0.5 * hc * hc, 2.0) * rr", "cell: radius of the node, rotary"),
    ("box", "* (rt + turn_c + nb.radius)", "* (rt + nb.radius)",
     "cell: way from the tilt line grows with the turn"),
    ("box", "less = rounds + bend", "less = bend", "cell: rounding radii"),
    ("box", "away - way - na.radius", "away - 0.5 * way - na.radius", "cell: balls"),
    ("box", "for j in range(2 if c1 > c0 else 1)", "for j in range(1)",
     "cell: two corners of four"),
    ("box", "h[k] = mask[k] * 0.5 *", "h[k] = mask[k] * 0.45 *", "cell: room of the slides"),
    ("along", "cap = np.inf if exact else need + unsure[p]", "cap = np.inf if exact else need",
     "uncertainty of the lines not asked for"),
    ("along", "rest = out[0] - unsure[p]", "rest = out[0]",
     "uncertainty of the lines not taken off"),
    ("along", "and was[3] >= need", "and was[3] >= 0.0", "kept proof of a smaller need"),
    ("along", "and was[1] == rotary and", "and", "kept proof of another turn"),
    ("along", "and ends[j, 3] == q0[3] and ends[j, 4] == q0[4]", "", "chunk of several angles"),
    ("along", "need = max(need, needs[j])", "need = needs[j]", "chunk asked for its last need"),
    ("along", "own[k] = max(most[k] - q1[k], q1[k] - least[k])",
     "own[k] = 0.5 * max(most[k] - q1[k], q1[k] - least[k])", "room of a chunk"),
    ("along", "if probe >= 0:", "if probe > 999:", "what stands inside is not looked for"),
    ("along", "if mask[k] != 0.0:\n            return False",
     "if mask[k] != 0.0:\n            break",
     "a pair that slides counts as at rest"),
    ("within", "abs(_winding(pieces, points, probe.first, probe.end, x, y, z)) > 0.5",
     "abs(_winding(pieces, points, probe.first, probe.end, x, y, z)) > 1.5", "inside of a surface"),
    ("within", "or z > probe.most[2]", "or z > probe.least[2]", "box of a surface"),
    ("poses", "low = p[0] * dx + p[1] * dy + p[2] * dz + piece.r0 * square",
     "low = p[0] * dx + p[1] * dy + p[2] * dz", "rim of a cone"),
    ("poses", "if high > low:", "if high < low:", "farther end of a cone"),
    ("poses", "sin(sense * angle), sin(0.5", "sin(angle), sin(0.5", "sense of an axis"),
    ("tree", "node.radius = min(radius, np.sqrt(corner))",
     "node.radius = 0.95 * min(radius, np.sqrt(corner))", "ball of a node"),
    ("tree", "max(most[k] - node.centre[k], node.centre[k] - least[k])",
     "min(most[k], 0.9 * most[k]) - node.centre[k]", "box of a node"),
    ("pieces", '(radii + pieces["round"])', "radii", "ball without its rounding"),
    ("pieces", "points[at] + wide", "points[at]", "box without the rims of cones"),
    ("pieces", 'slop = pieces["round"][:, None] +', "slop =", "box without its rounding"),
    ("assembly", "return 1.0 - made if b is Carrier.BASE else np.ones(3)", "return np.ones(3)",
     "slides of covers on the base"),
    ("assembly", "scene.unsure_mm if b in (Carrier.TILT, Carrier.ROTARY) else 0.0", "0.0",
     "uncertainty of what turns"),
    ("assembly", "if target.role is Role.STOCK:", "if True:", "cutter let into the finished part"),
    ("assembly", "if bodies[number].closed and run:", "if False:", "closed surfaces forgotten"),
    ("cores", "side = r0 - depth * hypot(1.0, slope)",
     "side = r0 - 3.0 * depth * hypot(1.0, slope)",
     "core of a cutter too thin"),
    ("prove", "np.array([need_mm + bulge_mm])", "np.array([need_mm])", "bulge of an arc"),
    ("prove", "h = 0.5 * np.abs(q1[:3] - q0[:3])", "h = 0.25 * np.abs(q1[:3] - q0[:3])",
     "room of a dog-leg"),
    ("prove", "np.inf if exact else need_mm + unsure, tol_mm",
     "np.inf if exact else need_mm, tol_mm",
     "box: uncertainty of the lines"),
)  # fmt: skip


def broken(number: int) -> None:
    """Make the copy of the package the same as the package, but for one change."""
    name, text, other, _ = CHANGES[number]
    skipped = shutil.ignore_patterns("__pycache__")
    # Ages of files are kept: loops that do not change need not be compiled again.
    shutil.copytree(HOME / "src", FOLDER, ignore=skipped, dirs_exist_ok=True)
    file = FOLDER / "gudgeon" / "clearance" / f"{name}.py"
    source = file.read_text(encoding="utf-8")
    if source.count(text) != 1:
        raise LookupError(f"change {number}: {name}.py does not hold once: {text!r}")
    file.write_text(source.replace(text, other), encoding="utf-8")


def noticed(number: int, compiled: bool) -> str:
    """Return the test that noticed a change; empty if none did.

    The loops are first run as they are written, which most changes do not outlive by long; what
    is left is compiled and meets all tests.
    """
    broken(number)
    for name, text, other in PLAIN:
        file = FOLDER / "gudgeon" / "clearance" / f"{name}.py"
        source = file.read_text(encoding="utf-8")
        file.write_text(source.replace(text, other), encoding="utf-8")
    quick = ["-k", "not drawn_at_random and not all_tilts and not as_its_motions"]
    by = run(TESTS[:4], {"NUMBA_DISABLE_JIT": "1", "GUDGEON_CLEARANCE_SCENES": "20"}, 90, quick)
    if by or not compiled:
        return by
    broken(number)
    return run(TESTS, {"GUDGEON_CLEARANCE_SCENES": "60"}, 300, [])


PLAIN: Final = (
    ("assembly", "pieces=every,", "pieces=every.view(np.recarray),"),
    ("assembly", "nodes=np.concatenate([tree, *nodes]),",
     "nodes=np.concatenate([tree, *nodes]).view(np.recarray),"),
    ("assembly", "pairs, every, places),\n", "pairs, every, places).view(np.recarray),\n"),
    ("pieces", "dtype=NODE)\n", "dtype=NODE).view(np.recarray)\n"),
    ("sweep", "].round", "][\"round\"]"),
    ("box", "].round", "][\"round\"]"),
)  # fmt: skip
"""Fields of a row by their names where nothing is compiled."""


def run(names: tuple[str, ...], settings: dict[str, str], seconds: float, words: list[str]) -> str:
    """Run tests on the copy; return the first that fails."""
    environment = {
        **os.environ,
        "PYTHONPATH": str(FOLDER),
        "PYTHONDONTWRITEBYTECODE": "1",
        "NUMBA_CACHE_DIR": str(FOLDER / "compiled"),
        **settings,
    }
    tests = [HOME / "tests" / "clearance" / f"test_{name}.py" for name in names]
    command = [
        sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--tb=no",
        "-W", "ignore::RuntimeWarning", "--rootdir", str(HOME), *words,
        *map(str, tests),
    ]  # fmt: skip
    try:
        done = subprocess.run(
            command, cwd=HOME, env=environment, capture_output=True, text=True, timeout=seconds
        )
    except subprocess.TimeoutExpired:
        return "" if words else "no end within the time allowed"
    if done.returncode == 0:
        return ""
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return failed[0].split("::")[-1].split(" - ")[0] if failed else f"code {done.returncode}"


TESTS: Final = ("bounds", "last_digit", "tree", "proofs", "boxes", "revolve")


def main(words: list[str]) -> int:
    """Make the changes that `words` name."""
    if words == ["--list"]:
        for number, (name, _, _, said) in enumerate(CHANGES):
            print(f"{number:>3}  {name:<10}{said}")
        return 0
    compiled = "--plain" not in words
    words = [word for word in words if word != "--plain"]
    first, end = (int(words[0]), int(words[1])) if len(words) == 2 else (0, len(CHANGES))
    survived = 0
    for number in range(first, min(end, len(CHANGES))):
        name, _, _, said = CHANGES[number]
        by = noticed(number, compiled)
        survived += not by
        print(f"{number:>3}  {name:<10}{said:<52}{by or 'SURVIVED'}", flush=True)
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
