"""The published schema of an answer, against constructed answers and broken ones."""

from __future__ import annotations

import copy
import json
from importlib.resources import files
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from gudgeon.answer import Answer
from gudgeon.faces.wording import plain_data
from tests.faces.samples import ANSWERS

SCHEMA = json.loads(files("gudgeon").joinpath("schemas/answer-1.json").read_text("utf-8"))
CHECK = Draft202012Validator(SCHEMA)


def data(answer: Answer) -> dict[str, Any]:
    return json.loads(json.dumps(plain_data(answer.as_data()), allow_nan=False))


def test_the_schema_is_itself_valid() -> None:
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("answer", ANSWERS, ids=lambda answer: answer.question)
def test_answers_validate(answer: Answer) -> None:
    assert list(CHECK.iter_errors(data(answer))) == []


def test_the_schema_names_every_part_of_an_answer() -> None:
    assert set(SCHEMA["properties"]) == set(data(ANSWERS[0]))
    assert SCHEMA["required"] == list(SCHEMA["properties"])


def test_a_list_of_answers_validates() -> None:
    whole = {
        "schema": "gudgeon.answers/1",
        "cell": "cell.toml",
        "answers": [data(answer) for answer in ANSWERS],
        "failed": [],
        "warnings": [],
    }
    known = Registry().with_resource(SCHEMA["$id"], Resource.from_contents(SCHEMA))
    check = Draft202012Validator({"$ref": f"{SCHEMA['$id']}#/$defs/answers"}, registry=known)

    assert list(check.iter_errors(whole)) == []
    whole["answers"][0]["verdict"] = "perhaps"
    assert list(check.iter_errors(whole))


def broken(change: str) -> dict[str, Any]:
    wrong = copy.deepcopy(data(ANSWERS[1]))
    match change:
        case "verdict":
            wrong["verdict"] = "perhaps"
        case "schema":
            wrong["schema"] = "gudgeon.answer/2"
        case "no headline":
            wrong["headline"] = ""
        case "cannot tell without missing":
            wrong["missing"] = []
        case "limit without kind":
            wrong["figures"][0]["limit"] = 3.0
        case "kind without limit":
            wrong["figures"][0]["limit_kind"] = "max"
        case "negative uncertainty":
            wrong["figures"][0]["plus_minus"] = -1.0
        case "unknown key":
            wrong["colour"] = "green"
        case "key gone":
            del wrong["sources"]
        case "value as text":
            wrong["figures"][0]["value"] = "1.5"
    return wrong


@pytest.mark.parametrize(
    "change",
    ["verdict", "schema", "no headline", "cannot tell without missing", "limit without kind",
     "kind without limit", "negative uncertainty", "unknown key", "key gone", "value as text"],
)  # fmt: skip
def test_broken_answers_do_not_validate(change: str) -> None:
    assert list(CHECK.iter_errors(broken(change)))
