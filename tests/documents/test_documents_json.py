"""JSON: the schema is the shipped one and fits, and a draft comes back equal."""

from __future__ import annotations

import copy
import json
from decimal import Decimal
from typing import Any

import jsonschema
import pytest
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents import draft_schema, from_json, to_json
from voicecheck.documents.draft_json import SCHEMA_FILE, schema_text
from voicecheck.records import Draft, InputError

DRAFTS = (sample_draft(), uk_draft(), empty_draft())


def test_shipped_schema_is_that_of_the_models() -> None:
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text(), (
        "the models have changed: python -m voicecheck.documents.make_schema"
    )


@pytest.mark.parametrize("draft", DRAFTS, ids=lambda d: d.recording.name)
def test_drafts_fit_the_schema_and_come_back(draft: Draft) -> None:
    text = to_json(draft)
    validator = jsonschema.Draft202012Validator(draft_schema())
    jsonschema.Draft202012Validator.check_schema(draft_schema())
    validator.validate(json.loads(text))
    assert from_json(text) == draft
    assert to_json(from_json(text)) == text


@pytest.mark.parametrize("spoil", ["format", "field", "money", "state"])
def test_schema_refuses_what_is_not_a_draft(spoil: str) -> None:
    value: dict[str, Any] = copy.deepcopy(json.loads(to_json(sample_draft())))
    if spoil == "format":
        value["format"] = "something-else/1"
    elif spoil == "field":
        value["estimate"]["extra"] = 1
    elif spoil == "money":
        value["estimate"]["totals"]["total"] = 12.5
    else:
        value["findings"][0]["state"] = "excellent"
    assert list(jsonschema.Draft202012Validator(draft_schema()).iter_errors(value))


def test_money_is_a_string_and_unknown_is_null() -> None:
    value = json.loads(to_json(sample_draft()))
    lines = [line for job in value["estimate"]["jobs"] for line in job["lines"]]
    assert sum(line["amount"] is None for line in lines) == value["estimate"]["totals"]["open_lines"] == 4
    for line in lines:
        for name in ("amount", "unit_price", "hours", "quantity"):
            assert line[name] is None or isinstance(line[name], str)
        assert "from" in line
    assert all("with" in finding for finding in value["findings"])


def test_decimals_have_no_exponent() -> None:
    draft = uk_draft()
    totals = draft.estimate.totals.model_copy(update={"total": Decimal("1E+3")})
    text = to_json(
        draft.model_copy(update={"estimate": draft.estimate.model_copy(update={"totals": totals})})
    )
    assert json.loads(text)["estimate"]["totals"]["total"] == "1000"


def test_equal_drafts_give_equal_text() -> None:
    draft = sample_draft()
    turned = draft.model_copy(update={"timings": dict(reversed(draft.timings.items()))})
    assert turned == draft
    assert to_json(turned) == to_json(draft)


@pytest.mark.parametrize(
    ("text", "named"), [("", "document"), ("[]", "document"), ('{"format": "x"}', "format")]
)
def test_other_text_is_refused_with_one_sentence(text: str, named: str) -> None:
    with pytest.raises(InputError) as caught:
        from_json(text)
    assert named in caught.value.message
    assert "\n" not in caught.value.message
