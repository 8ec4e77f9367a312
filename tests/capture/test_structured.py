"""Plain data made into dataclasses, with the path to every fault."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import pytest

from capture.structured import structured


@dataclass(frozen=True)
class Lamp:
    colour: Literal["white", "red"] = "white"
    reach_mm: float = 1.0

    def __post_init__(self) -> None:
        if self.reach_mm < 0:
            raise ValueError(f"lamp reach_mm: {self.reach_mm:g} is no reach.")


@dataclass(frozen=True)
class Tower:
    name: str
    steps: int = 112
    lit: bool = True
    place: str | tuple[float, float] = "cliff"
    lamps: tuple[Lamp, ...] = ()
    spare: Lamp | None = None
    first: Lamp = field(default_factory=Lamp)

    def __post_init__(self) -> None:
        if not self.name:
            raise ValueError("a tower needs a name.")


def test_whole_data_become_the_class_with_its_nested_ones() -> None:
    made, faults = structured({"name": "a", "place": [1, 2], "lamps": [{"reach_mm": 3}], "spare": None}, Tower)

    assert faults == []
    assert made == Tower("a", place=(1.0, 2.0), lamps=(Lamp(reach_mm=3.0),))


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        ({}, "name: is not given"),
        ({"name": 3}, "name: expected a text, found 3"),
        ({"name": "a", "steps": 1.5}, "steps: expected a whole number, found 1.5"),
        ({"name": "a", "steps": True}, "steps: expected a whole number, found True"),
        ({"name": "a", "lit": 1}, "lit: expected true or false, found 1"),
        ({"name": "a", "place": [1]}, "place: expected a"),
        ({"name": "a", "lamps": {}}, "lamps: expected a list, found {}"),
        ({"name": "a", "lamps": [{}, {"reach_mm": "x"}]}, "lamps[1].reach_mm: expected a number, found 'x'"),
        (
            {"name": "a", "lamps": [{"reach_mm": 10**400}]},
            "lamps[0].reach_mm: expected a number under 1e+09, found 1000",
        ),
        ({"name": "a", "first": {"colour": "blue"}}, "first.colour: expected one of white, red, found 'blue'"),
        ({"name": "a", "first": 3}, "first: expected a mapping, found 3"),
        ({"name": "a", "smell": 1}, "smell: no such key (known: name, steps,"),
        ({"name": ""}, "a tower needs a name"),
        ({"name": "a", "lamps": [{"reach_mm": -1}]}, "lamps[0].reach_mm: -1 is no reach"),
        ({"name": "a", "spare": {"reach_mm": -1}}, "spare: lamp reach_mm: -1 is no reach"),
        ([], "expected a mapping, found []"),
        (None, "expected a mapping, found None"),
    ],
)
def test_a_fault_is_told_with_its_path(data: Any, fault: str) -> None:
    made, faults = structured(data, Tower)

    assert made is None
    assert any(f.startswith(fault) for f in faults), faults


def test_all_faults_are_told_at_once() -> None:
    _, faults = structured({"steps": "x", "lamps": [{"reach_mm": "y"}], "smell": 1}, Tower)

    assert len(faults) == 4
