"""Everything that goes between the server and the page, as types; the page's own are made of it.

Every number is in base units (mm, rad, s) unless it belongs to an answer, whose figures are in the
shop's units.  A pose is ``[x, y, z, tilt, turn]`` as the control displays it.  What is not known is
``null``; there is no NaN in JSON.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, RootModel, StringConstraints

__all__ = [
    "AnswerData",
    "AnswerLine",
    "AnswerView",
    "Body",
    "CellView",
    "Change",
    "ChangeMap",
    "Column",
    "Edit",
    "Edited",
    "Entry",
    "Event",
    "Fault",
    "Figure",
    "FigureLine",
    "Form",
    "Gap",
    "GapAsked",
    "Letters",
    "Line",
    "Link",
    "Missing",
    "NextReading",
    "Picture",
    "Placement",
    "ProgramFile",
    "QuestionView",
    "ReadingRow",
    "ReadingsView",
    "Refusal",
    "SafeBox",
    "SceneMore",
    "SceneView",
    "Section",
    "Seen",
    "Shown",
    "ShownTable",
    "Slider",
    "Spot",
    "Spots",
    "Step",
    "Table",
    "ToolView",
    "WireModel",
]

Vector = Annotated[list[FiniteFloat], Field(min_length=3, max_length=3)]
Range = Annotated[list[FiniteFloat], Field(min_length=2, max_length=2)]
Pose = Annotated[list[FiniteFloat], Field(min_length=5, max_length=5)]
Name = Annotated[str, StringConstraints(max_length=200)]
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Text = Annotated[str, StringConstraints(max_length=20_000)]
Verdict = Literal["yes", "yes_if", "no", "cannot_tell"]
State = Literal["waiting", "working", "done", "failed", "stopped"]
Mover = Literal["x", "y", "z", "tilt", "turn"]


class WireModel(BaseModel):
    """Base of all: unknown fields are refused, infinite numbers too."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Asked(WireModel):
    """Base of what the page sends: nothing is taken for what it is not."""

    model_config = ConfigDict(strict=True)


class Refusal(WireModel):
    """Why a request was not carried out.

    ``now`` is the digest of the cell file where it has changed meanwhile.
    """

    what: str
    where: str = ""
    mend: str = ""
    now: str | None = None


# --- the cell -----------------------------------------------------------------------------------


class Fault(WireModel):
    """One thing that is wrong in a file; lines are counted from 1, columns from 0."""

    code: str
    severity: Literal["error", "warning"]
    file: str = ""
    line: int | None = None
    column: int | None = None
    column_end: int | None = None
    text: str = ""
    what: str
    why: str = ""
    mend: str = ""


class QuestionView(WireModel):
    """A question that can be asked."""

    name: str
    asks: str
    needs_program: bool


class ProgramFile(WireModel):
    """An NC program of the cell; `clearance` [mm] is the one asked of it, if any."""

    file: str
    clearance: float | None = None
    there: bool = True


class Letters(WireModel):
    """Letters of the two turning axes at the control; ``null`` where not known."""

    tilt: str | None = None
    rotary: str | None = None


class CellView(WireModel):
    """The cell file and what can be asked of it.

    `digest` is of the file alone, as an edit states it; `inputs` of all that answers rest on.
    """

    file: str
    name: str
    digest: str
    inputs: str
    units: Literal["mm", "in"] | None
    read_only: bool
    questions: list[QuestionView]
    programs: list[ProgramFile]
    cells: list[str]
    faults: list[Fault]
    letters: Letters
    version: str = ""


# --- answers ------------------------------------------------------------------------------------

Place = str | float | int | bool | None


class Figure(WireModel):
    """One number of an answer, in the unit stated; see ``gudgeon.answer/1``."""

    name: str
    label: str
    value: float | None
    unit: str = ""
    plus_minus: float | None = None
    limit: float | None = None
    limit_kind: Literal["max", "min"] | None = None
    note: str = ""


class Column(WireModel):
    """Head of a column."""

    name: str
    label: str
    unit: str = ""


class Table(WireModel):
    """Rows of text and numbers, the numbers in the unit of their column."""

    name: str
    title: str
    columns: list[Column]
    rows: list[list[Place]]


class Picture(WireModel):
    """A drawing to scale; one SVG element."""

    name: str
    title: str
    svg: str


class Missing(WireModel):
    """An entry or reading that is still needed."""

    what: str
    where: str
    why: str
    how_to_get_it: str


class AnswerData(WireModel):
    """An answer as every face gets it, schema ``gudgeon.answer/1``."""

    schema_: Literal["gudgeon.answer/1"] = Field(alias="schema")
    question: str
    verdict: Verdict
    headline: str
    next_step: str
    figures: list[Figure]
    tables: list[Table]
    pictures: list[Picture]
    flips: str | None
    fix: str | None
    assumed: list[str]
    missing: list[Missing]
    cautions: list[str]
    sources: list[str]


class Shown(WireModel):
    """A figure in words, the same as in terminal and report.

    `number` and `bound` are value and limit alone.  `standing` is "free" without a limit.
    `gauge` is a small scale as an SVG element, empty without a limit.
    """

    name: str
    value: str
    limit: str
    number: str
    bound: str
    standing: Literal["free", "kept", "broken", "unsure"]
    gauge: str = ""


class ShownTable(WireModel):
    """A table as text; `right` tells which columns are numbers."""

    name: str
    right: list[bool]
    rows: list[list[str]]


class FigureLine(WireModel):
    """A figure in words, short; `limited`: it has a limit."""

    name: str
    label: str
    value: str
    limited: bool = False


class AnswerLine(WireModel):
    """How far one answer is; `share` is 0 while nothing is known of it, 1 at the end."""

    question: str
    program: str | None = None
    state: State
    share: float = 0.0
    verdict: Verdict | None = None
    headline: str | None = None
    figures: list[FigureLine] = []
    stale: bool = False
    what: str = ""


class AnswerView(WireModel):
    """One answer with how far it is.

    `stale`: what it rests on has changed since; a new one is being worked out.  `what` says why it
    failed or was stopped.  `seconds` is how long the work took, `inputs` the digest of what it
    rests on.
    """

    question: str
    program: str | None = None
    asks: str
    state: State
    share: float = 0.0
    stale: bool = False
    what: str = ""
    seconds: float | None = None
    inputs: str = ""
    answer: AnswerData | None = None
    figures: list[Shown] = []
    tables: list[ShownTable] = []


class Event(WireModel):
    """What the page is told without asking.

    ``cell``: the cell file or a file that it names has changed (`digest` is the new one).
    ``answer``: an answer has another state.  ``progress``: its share has.  ``fault``: something
    went wrong that no answer tells.  ``hello``: the first one of a connection; `run` names this
    start of the server.
    """

    kind: Literal["hello", "cell", "answer", "progress", "fault"]
    digest: str | None = None
    inputs: str | None = None
    files: list[str] = []
    question: str | None = None
    program: str | None = None
    state: State | None = None
    share: float | None = None
    verdict: Verdict | None = None
    headline: str | None = None
    figures: list[FigureLine] | None = None
    stale: bool | None = None
    what: str = ""
    run: str = ""


# --- the scene ----------------------------------------------------------------------------------


class Link(WireModel):
    """A joint of the tree: `axis` and `origin` [mm] stand in the parent's frame at the start pose.

    Moved by the programmed value times `sense`, measured from `zero`: along `axis` [mm] for x, y,
    z; about it [rad] for tilt and turn.
    """

    name: str
    parent: str | None
    axis: Vector | None = None
    origin: Vector
    moves_with: Mover | None = None
    sense: Literal[-1, 1] = 1
    zero: float = 0.0
    low: float | None = None
    high: float | None = None


class Line(WireModel):
    """An axis line with its uncertainty (k = 2); its tube is drawn `magnified` times as wide."""

    name: str
    node: str
    point: Vector
    direction: Vector
    u_mm: float | None
    u_rad: float | None
    magnified: float = 1.0


class Body(WireModel):
    """A body of the scene: `node` is the link that carries it; `mesh` names it in the model."""

    name: str
    role: str
    node: str
    mesh: str = ""


class Slider(WireModel):
    """One axis of the control, in the order X Y Z tilt turn."""

    moves: Mover
    letter: str
    low: float
    high: float
    unit: Literal["mm", "rad"]
    endless: bool = False


class ToolView(WireModel):
    """A tool that can be in the spindle; `node` is its link."""

    number: int | None
    name: str
    length_mm: float | None
    node: str


class SafeBox(WireModel):
    """Proven travel of each machine axis [mm]; ``null`` where nothing is proven."""

    x: Range | None = None
    y: Range | None = None
    z: Range | None = None


class ChangeMap(WireModel):
    """Poses at which a tool may be changed: `cells[i][j]` between tilt i, i+1 and turn j, j+1."""

    tilt: list[FiniteFloat]
    turn: list[FiniteFloat]
    cells: list[list[Literal["clear", "forbidden", "unknown"]]]
    park: Pose | None = None


class Placement(WireModel):
    """A place of the unit on the table, best first; `matrix` is 4 x 4 by rows, metres."""

    name: str
    xy: Annotated[list[FiniteFloat], Field(min_length=2, max_length=2)]
    yaw: float
    verdict: Verdict
    words: str = ""
    matrix: list[FiniteFloat] = []


class SceneView(WireModel):
    """What the scene shows at once, beside the model in ``scene.glb``."""

    digest: str
    tree: list[Link]
    lines: list[Line]
    bodies: list[Body]
    sliders: list[Slider]
    start: Pose
    tools: list[ToolView]
    notes: list[str] = []
    triangles: int = 0
    triangles_full: int = 0
    deviation_mm: float = 0.0


class SceneMore(WireModel):
    """What is shown in the scene once it is worked out; `digest` as of the scene it belongs to."""

    digest: str
    safe_box: SafeBox | None = None
    change_map: ChangeMap | None = None
    placements: list[Placement] = []


class GapAsked(Asked):
    """A pose whose gap is asked for, with the number of the tool in the spindle.

    `stand`: x, y [mm] and yaw [rad] of a placement, if the unit shall stand there.
    """

    pose: Pose
    stand: Vector | None = None
    tool: Annotated[int, Field(ge=0, le=99_999_999)] | None = None


class Gap(WireModel):
    """The smallest gap at one pose, between two bodies and at two points [mm].

    ``gap_mm`` is ``null`` where nothing is judged; `words` says why then.  `proven`: it is certain
    that no pair is nearer.
    """

    gap_mm: float | None
    proven: bool
    pair: list[str]
    points: list[Vector]
    asked_mm: float
    words: str = ""


class Spot(WireModel):
    """A tight spot of a program: at time `t` [s]."""

    t: float
    line: int
    file: str
    words: str
    gap_mm: float | None
    grade: Literal["danger", "tight", "unknown"]


class Spots(RootModel[list[Spot]]):
    """The tight spots of a program in order of time."""


# --- entering -----------------------------------------------------------------------------------


class Entry(WireModel):
    """One entry of the cell file: what may stand there, and what does.

    `text`: as written, without quotation marks; one for each place of a list.
    """

    path: str
    key: str
    doc: str
    kind: str
    shape: Literal["one", "range", "point", "pair", "list"]
    choices: list[str] = []
    low: float | None = None
    high: float | None = None
    above: float | None = None
    limits: str = ""
    units: list[str] = []
    unit: str | None = None
    text: str | list[str] | None = None
    line: int | None = None
    faults: list[Fault] = []


class Section(WireModel):
    """A table of the cell file, such as ``unit`` or ``stations[2]``, with those inside it.

    `many`: this is a list such as ``stations``, whose `sections` are its members.
    """

    path: str
    title: str
    doc: str
    many: bool = False
    there: bool = True
    entries: list[Entry] = []
    sections: list[Section] = []


class Form(WireModel):
    """The whole cell file as a form."""

    digest: str
    file: str
    sections: list[Section]
    faults: list[Fault]
    can_undo: bool = False
    can_redo: bool = False


class Change(Asked):
    """One change: `text` as it was typed, one for each place of a list; ``null`` takes it away.

    `path` may be a list such as ``tools`` with an empty list as `text`: a new member at the end.
    """

    path: Annotated[str, StringConstraints(min_length=1, max_length=300)]
    text: Text | Annotated[list[Text], Field(max_length=1000)] | None


class Edit(Asked):
    """Changes to the file whose digest the editor saw; all are made, or none."""

    digest: Digest
    changes: Annotated[list[Change], Field(min_length=1, max_length=500)]


class Seen(Asked):
    """The file as the person saw it."""

    digest: Digest


class Edited(WireModel):
    """What was written."""

    digest: str
    faults: list[Fault]
    can_undo: bool = False
    can_redo: bool = False


class NextReading(WireModel):
    """A reading that would help most now; `pose` as the control displays it."""

    feature: str
    pose: dict[str, float | str]
    why: str
    minutes: float | None
    row: dict[str, str] = {}


class ReadingsView(WireModel):
    """The table of readings as written."""

    digest: str
    file: str | None
    columns: list[str]
    units: list[str] = []
    rows: list[list[str]]
    next: list[NextReading]
    notes: list[str] = []
    faults: list[Fault] = []


class ReadingRow(Asked):
    """One row to add, by the names of its columns."""

    digest: Digest
    row: Annotated[
        dict[Name, Annotated[str, StringConstraints(max_length=500)]], Field(max_length=40)
    ]


class Step(WireModel):
    """An answer to a request that only starts or stops something."""

    state: State
    what: str = ""
