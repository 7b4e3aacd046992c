"""The record of commissioning: any text is one or is refused; read as written; what follows."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from springhouse_host import load_site
from springhouse_host.commissioning import answer_book, results, steps
from springhouse_host.errors import KnownError

SITE = load_site("demo")
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)
ANSWERS = st.fixed_dictionaries(
    {
        "on": st.dates().map(str),
        "values": st.dictionaries(
            st.text(max_size=5),
            st.text(max_size=5) | st.floats(allow_nan=False, allow_infinity=False),
            max_size=3,
        ),
    },
    optional={"wrong": st.lists(st.text(max_size=5), max_size=2), "refused": st.booleans()},
)


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=60) | JSON.map(json.dumps))
def test_any_text_is_a_record_or_one_line(text: str) -> None:
    try:
        answer_book.parse(text, "r.json")
    except KnownError as error:
        assert str(error).startswith("r.json: no record")


@settings(max_examples=40, deadline=None)
@given(st.dictionaries(st.sampled_from(["type", "fill", "probe_room"]), ANSWERS), JSON)
def test_a_record_is_read_as_it_was_written(answers: dict, spoilt: object) -> None:
    head = {"schema": 1, "site": SITE.name, "site_sha256": "0", "written": ""}
    read = answer_book.parse(json.dumps({**head, "answers": answers}), "r.json")
    book = answer_book.Book(SITE, Path("r.json"), steps.steps(SITE), dict(read.answers))
    again = answer_book.parse(json.dumps(book.as_json()), "r.json")
    assert again.answers == read.answers
    assert {name: a["values"] for name, a in book.as_json()["answers"].items()} == {
        name: a["values"] for name, a in answers.items()
    }
    with pytest.raises(KnownError):
        answer_book.parse(json.dumps({**head, "answers": answers, "more": spoilt}), "r.json")


def test_the_oldest_ice_point_counts() -> None:
    good = {"wrong": [], "values": {}, "results": {"offset_k": 0.05}}
    days = {"store_low": "2026-05-31", "room": "2026-05-30", "coil_in": "2026-06-01"}
    answers = {
        f"ice_point_{probe}": answer_book.StepAnswer.model_validate({"on": day, **good})
        for probe, day in days.items()
    }
    book = answer_book.Book(SITE, Path("r.json"), steps.steps(SITE), answers)
    found = results.changes(book)
    assert found["commissioned.ice_point_on"] == "2026-05-30"
    assert found["settings.room_offset_k"] == 0.05
    assert found["sensors.ice_point_checked"] == ["store_low", "store_high", "room", "coil_in"]


def test_results_are_only_what_differs() -> None:
    book = answer_book.Book(SITE, Path("r.json"), steps.steps(SITE), {})
    assert results.changes(book) == {}
    # edited by hand
    bare = answer_book.StepAnswer.model_validate({"on": "2026-05-31", "values": {}})
    book = answer_book.Book(SITE, Path("r.json"), steps.steps(SITE), {"ice_point_coil_in": bare})
    found = results.changes(book)
    assert "settings.coil_in_offset_k" not in found
    assert "sensors.ice_point_checked" not in found
