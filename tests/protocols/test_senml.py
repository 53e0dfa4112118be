"""SenML against the examples of RFC 8428 and its rules for what is no pack."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols import senml
from protocols.senml import Field, Record, SenmlError, decode, pack, resolve

# The packs of RFC 8428, sections 5.1.2 (third pack), 5.1.3 and 5.1.4.
PACKS = json.loads(
    (Path(__file__).parents[1] / "data" / "senml-rfc8428-packs.json").read_text("utf-8")
)
EXAMPLES = [("pack_5_1_2", "resolved_5_1_2"), ("pack_5_1_3", "resolved_5_1_4")]
NOW_S = 1_800_000_000.0


def by_label(record: Record) -> dict[str, Any]:
    return dict(msgspec.to_builtins(record))


@pytest.mark.parametrize(("given_pack", "resolved"), EXAMPLES)
def test_the_examples_of_the_rfc_resolve(given_pack: str, resolved: str) -> None:
    got = [by_label(one) for one in resolve(decode(json.dumps(PACKS[given_pack])), NOW_S)]
    for ours, theirs in zip(got, PACKS[resolved], strict=True):
        assert ours.pop("t") == pytest.approx(theirs.pop("t"), abs=PACKS["tolerance_time_s"])
        # The source of these packs gives bver in the first record only; section 4.6 asks for it
        # in each record where it is not 10.
        theirs.pop("bver", None)
        assert ours.pop("bver", None) == PACKS[given_pack][0].get("bver")
        assert ours == theirs


@pytest.mark.parametrize("name", [name for name, _ in EXAMPLES])
def test_the_examples_of_the_rfc_come_back_as_they_were(name: str) -> None:
    assert json.loads(msgspec.json.encode(decode(json.dumps(PACKS[name])))) == PACKS[name]


def test_the_shortest_example_of_the_rfc_is_written() -> None:
    # RFC 8428, section 5.1.1, with its name as base name.
    got = json.loads(pack("urn:dev:ow:10e2073a01080063", None, [Field("", 23.1, "Cel")]))
    assert got == [{"bn": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]
    (one,) = resolve(decode(json.dumps(got)), NOW_S)
    assert by_label(one) == {
        "n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1, "t": NOW_S,
    }  # fmt: skip


def test_every_kind_of_value_is_written() -> None:
    fields = [
        Field("mass", 0.03, "kg"), Field("up", True), Field("text", "dough gone"),
        Field("row", 7, "count"), Field("bare", 1.5), Field("unmeasured", None, "N"),
    ]  # fmt: skip
    got = json.loads(pack("benchd/maize/", 1_800_000_000.25, fields))
    assert got == [
        {"bn": "benchd/maize/", "bt": 1_800_000_000.25, "n": "mass", "u": "kg", "v": 0.03},
        {"n": "up", "vb": True},
        {"n": "text", "vs": "dough gone"},
        {"n": "row", "u": "count", "v": 7},
        {"n": "bare", "v": 1.5},
    ]


@pytest.mark.parametrize(
    "fields",
    [
        [],
        [Field("a", None)],
        [Field("a b", 1.0)],
        [Field("a(", 1.0)],
        [Field("a", 1.0, "%")],
        [Field("a", 1.0, "g")],
        [Field("a", math.nan)],
        [Field("a", math.inf)],
    ],
)
def test_what_cannot_be_said_is_refused(fields: list[Field]) -> None:
    with pytest.raises(SenmlError):
        pack("b/", NOW_S, fields)


# RFC 8428: sections 4.2 (one value or a sum), 4.4 (version, labels with "_"), 4.5.1 (names).
NO_PACKS = [
    [{"n": "a"}],
    [{"v": 1}],
    [{"n": "-a", "v": 1}],
    [{"n": "a(", "v": 1}],
    [{"n": "a", "v": 1, "vs": "b"}],
    [{"bver": 11, "n": "a", "v": 1}],
    [{"bver": 10, "n": "a", "v": 1}, {"bver": 9, "n": "a", "v": 1}],
    [{"n": "a", "v": 1, "must_": 1}],
    [{"n": "a", "v": "1"}],
    {"n": "a", "v": 1},
    [1],
]


@pytest.mark.parametrize("raw", NO_PACKS, ids=json.dumps)
def test_what_is_no_pack_is_refused(raw: Any) -> None:
    with pytest.raises(SenmlError):
        resolve(decode(json.dumps(raw)), NOW_S)


def test_text_that_is_not_json_is_refused() -> None:
    with pytest.raises(SenmlError):
        decode("[{")


def test_base_value_and_base_sum_are_added() -> None:
    raw = [{"bn": "x", "bv": 10, "bs": 100, "v": 1}, {"s": 2, "x-other": 1}, {"vd": "aGk"}]
    got = [by_label(one) for one in resolve(decode(json.dumps(raw)), NOW_S)]
    assert got == [
        {"n": "x", "v": 11, "t": NOW_S},
        {"n": "x", "s": 102, "t": NOW_S},
        {"n": "x", "vd": "aGk", "t": NOW_S},
    ]


def test_times_below_two_to_the_28th_count_from_now() -> None:
    # RFC 8428, section 4.5.3.
    raw = [{"n": "a", "v": 1, "t": -5}, {"n": "a", "v": 1, "t": 2**28}, {"n": "a", "v": 1}]
    assert [one.time_s for one in resolve(decode(json.dumps(raw)), NOW_S)] == [
        NOW_S - 5, 2**28, NOW_S,
    ]  # fmt: skip


@pytest.mark.slow
@given(
    st.lists(
        st.tuples(
            st.from_regex(r"[a-z0-9:./_-]{1,12}", fullmatch=True),
            st.one_of(
                st.floats(allow_nan=False, allow_infinity=False),
                st.booleans(),
                st.text(st.characters(codec="utf-8")),
            ),
            st.sampled_from(["", *sorted(senml.UNITS)]),
        ),
        min_size=1,
    ),
    st.floats(2.0**28, 2.0**33),
)
def test_what_is_written_is_read_back(
    fields: list[tuple[str, float | bool | str, str]], time_s: float
) -> None:
    data = pack("b/", time_s, [Field(*field) for field in fields])
    for one, (name, value, unit) in zip(resolve(decode(data), 0.0), fields, strict=True):
        values = [v for v in (one.value, one.text, one.truth) if v is not None]
        assert (one.name, values, one.time_s) == (f"b/{name}", [value], time_s)
        assert one.unit == (unit or None) or isinstance(value, bool | str)
