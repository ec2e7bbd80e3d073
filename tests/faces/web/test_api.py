"""The whole interface against its own description, with requests that follow it and that do not."""

from __future__ import annotations

import json
from typing import Any

import pytest

pytest.importorskip("fastapi", reason='the page needs the extra "web"')
pytest.importorskip("schemathesis", reason="schemathesis makes up the requests")

import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import load_all_checks
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from gudgeon.faces.web.guard import CSP
from gudgeon.faces.web.routes import page_schema
from tests.faces.web.running import Running

load_all_checks()
description = json.loads(page_schema())
schema = schemathesis.openapi.from_dict(description).exclude(path="/api/events")


@schema.parametrize()
@settings(
    max_examples=12,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
    derandomize=True,
)
def test_every_reply_is_as_described(case: Any, running: Running) -> None:
    reply = case.call(base_url=running.url)
    # What has the right form may still be no entry, or name no program.
    left_out = [positive_data_acceptance]
    if reply.status_code == 413:
        left_out.append(negative_data_rejection)
    case.validate_response(reply, excluded_checks=left_out)
    assert reply.headers["content-security-policy"] == [CSP]
    assert not running.ended
