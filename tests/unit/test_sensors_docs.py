"""What docs/sensors.md tells people to write is what the models take."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from drivers.base import Sample
from drivers.modbus.registers import PointSettings
from drivers.sensors import SENSORS, ConditionSettings, CorrectionSettings, measured

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "sensors.md").read_text("utf-8")
README = (ROOT / "drivers" / "sensors" / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"^```toml\n(.*?)^```", PAGE, re.DOTALL | re.MULTILINE)
PARTS = ("sensor", "cold_junction", "condition", "correction")


def channels() -> Iterator[tuple[str, dict[str, Any]]]:
    for block in BLOCKS:
        yield from tomllib.loads(block)["rigs"]["bay-2"]["channels"].items()


def made(part: str, table: Mapping[str, Any]) -> BaseModel:
    if part == "sensor":
        return SENSORS[table["signal"]].model_validate(table)
    if part == "correction":
        return CorrectionSettings.model_validate(table)
    own = {k: v for k, v in table.items() if k in ConditionSettings.model_fields}
    place = {k: v for k, v in table.items() if k not in own}
    PointSettings.model_validate(place)
    return ConditionSettings.model_validate(own) if part == "condition" else PointSettings(**place)


def test_every_table_of_the_page_is_right():
    found = []
    for _, tables in channels():
        for part in PARTS:
            if part in tables:
                made(part, tables[part])
                found.append(tables[part].get("signal", part))
    assert {*PARTS[1:], *SENSORS} == set(found)


def test_a_key_that_does_not_exist_would_be_seen():
    table = dict(channels())["pad_inner_c"]["correction"]
    with pytest.raises(ValidationError):
        made("correction", table | {"gain": 1.0})


def test_the_thermocouple_of_the_page_reads_as_it_says():
    first = tomllib.loads(BLOCKS[0])["rigs"]["bay-2"]["channels"]["pad_inner_c"]
    sensor = made("sensor", first["sensor"])
    counts = 4734.266  # µV: K, 140 °C, terminals at 25 °C (NIST)
    sample = measured(
        Sample(counts * first["scale"], "good", "", 1),
        sensor=sensor,
        cold_junction=Sample(250 * first["cold_junction"]["scale"], "good", "", 1),
        condition=None,
        condition_sample=None,
        correction=None,
    )
    assert sample.value == pytest.approx(140.0, abs=1e-3)


@pytest.mark.parametrize("model", [*SENSORS.values(), ConditionSettings, CorrectionSettings])
def test_every_key_is_told(model):
    untold = [key for key in model.model_fields if f"{key} =" not in PAGE]
    assert not untold, "in docs/sensors.md"


@pytest.mark.parametrize("signal", SENSORS)
def test_every_signal_is_told(signal):
    assert f"`{signal}`" in README
