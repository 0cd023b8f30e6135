"""A channel's sample, of all that was read for it."""

from datetime import date

import pytest
from pydantic import TypeAdapter, ValidationError

from drivers.base import Sample
from drivers.sensors import (
    SENSORS,
    ConditionSettings,
    CorrectionSettings,
    LoopSettings,
    Pt100Settings,
    SensorSettings,
    ThermocoupleSettings,
    VoltageSettings,
    measured,
)

TABLES = {
    "thermocouple": {"signal": "thermocouple", "type": "K"},
    "pt100": {"signal": "pt100"},
    "loop": {"signal": "loop", "at_4_ma": 0.0, "at_20_ma": 600.0},
    "voltage": {
        "signal": "voltage",
        "low_v": 0.5,
        "at_low_v": 0.0,
        "high_v": 4.5,
        "at_high_v": 1000.0,
        "valid_low_v": 0.4,
        "valid_high_v": 4.6,
    },
}
MODELS = {
    "thermocouple": ThermocoupleSettings,
    "pt100": Pt100Settings,
    "loop": LoopSettings,
    "voltage": VoltageSettings,
}
SENSOR: TypeAdapter[SensorSettings] = TypeAdapter(SensorSettings)
CORRECTION = CorrectionSettings(
    on=date(2026, 10, 1), zero_reads=0.4, span_at=100.0, span_reads=100.9
)
CONDITION = ConditionSettings(read_as="bits", failure=(0,), maintenance_required=(4,))
NOTHING = {
    "sensor": None,
    "cold_junction": None,
    "condition": None,
    "condition_sample": None,
    "correction": None,
}


def sample(value: float | None, at_ns: int = 50, quality: str = "good", reason: str = "") -> Sample:
    return Sample(value, quality, reason, at_ns, (7, 8))


def found(signal: Sample, **given: object) -> Sample:
    return measured(signal, **(NOTHING | given))


@pytest.mark.parametrize("word", TABLES)
def test_the_word_signal_says_which_model(word):
    sensor = SENSOR.validate_python(TABLES[word])
    assert type(sensor) is MODELS[word] is SENSORS[word]
    with pytest.raises(ValidationError):
        SENSOR.validate_python(TABLES[word] | {"signal": "pressure"})
    with pytest.raises(ValidationError, match="not permitted"):
        SENSOR.validate_python(TABLES[word] | {"gain": 1.0})


@pytest.mark.parametrize("kind", ["N", "k", ""])
def test_other_thermocouples_are_refused(kind):
    with pytest.raises(ValidationError, match="'K' or 'J'"):
        ThermocoupleSettings.model_validate({"signal": "thermocouple", "type": kind})


@pytest.mark.parametrize(
    ("word", "signal", "value"),
    [
        ("thermocouple", 4.734266, 140.0),  # NIST, terminals at 25 °C
        ("pt100", 153.5843, 140.0),  # IEC 60751
        ("loop", 12.0, 300.0),
        ("voltage", 2.5, 500.0),
    ],
)
def test_each_signal_becomes_a_value(word, signal, value):
    sensor = SENSOR.validate_python(TABLES[word])
    made = found(sample(signal), sensor=sensor, cold_junction=sample(25.0))
    assert made.value == pytest.approx(value, abs=1e-3)
    assert (made.quality, made.reason, made.at_ns, made.raw) == ("good", "", 50, (7, 8))


@pytest.mark.parametrize(
    ("word", "signal", "reason"),
    [
        ("thermocouple", 60.0, "above_range"),
        ("pt100", 400.0, "open_circuit"),
        ("loop", 21.0, "failure"),
        ("voltage", 0.3, "below_range"),
    ],
)
def test_each_signal_becomes_a_reason(word, signal, reason):
    sensor = SENSOR.validate_python(TABLES[word])
    made = found(sample(signal), sensor=sensor, cold_junction=sample(25.0, 40))
    at_ns = 40 if word == "thermocouple" else 50
    assert made == Sample(None, "bad", reason, at_ns, (7, 8))


@pytest.mark.parametrize("signal", [sample(140.0), sample(1.0, 0, "good", "maintenance_required")])
def test_with_nothing_to_do_the_signal_itself(signal):
    assert found(signal) is signal


@pytest.mark.parametrize("reason", ["no_reply", "open_circuit"])
def test_a_bad_signal_is_itself(reason):
    bad = sample(None, 60, "bad", reason)
    sensor = SENSOR.validate_python(TABLES["thermocouple"])
    given = {"sensor": sensor, "cold_junction": sample(25.0, 10), "correction": CORRECTION}
    given |= {"condition": CONDITION, "condition_sample": sample(1.0, 20)}
    assert found(bad, **given) is bad


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), -float("inf")])
def test_no_number_gets_through(value):
    made = found(sample(value))
    assert made == Sample(None, "bad", "not_a_number", 50, (7, 8))


def test_a_value_that_leaves_the_numbers_is_none():
    beyond = LoopSettings(signal="loop", at_4_ma=-1.7e308, at_20_ma=1.7e308)
    made = found(sample(12.0), sensor=beyond)
    assert made == Sample(None, "bad", "not_a_number", 50, (7, 8))


def test_the_terminals_are_only_a_thermocouples():
    sensor = SENSOR.validate_python(TABLES["pt100"])
    made = found(sample(100.0), sensor=sensor, cold_junction=sample(None, 1, "bad", "no_reply"))
    assert (made.value, made.quality, made.at_ns) == (pytest.approx(0.0), "good", 50)


def test_terminals_that_do_not_answer_take_the_value_and_show_their_age():
    sensor = SENSOR.validate_python(TABLES["thermocouple"])
    made = found(sample(4.7), sensor=sensor, cold_junction=sample(None, 3, "bad", "no_reply"))
    assert made == Sample(None, "bad", "cold_junction", 3, (7, 8))
    made = found(sample(4.7), sensor=sensor)
    assert made == Sample(None, "bad", "cold_junction", 50, (7, 8))


def test_it_is_corrected_after_it_became_a_value():
    assert found(sample(100.9), correction=CORRECTION).value == pytest.approx(100.0)
    loop = LoopSettings(signal="loop", at_4_ma=0.4, at_20_ma=100.9)
    made = found(sample(20.0), sensor=loop, correction=CORRECTION)
    assert made.value == pytest.approx(100.0)
    assert found(sample(4.0), sensor=loop, correction=CORRECTION).value == pytest.approx(0.0)
    # The limits of the loop are those of the signal, whatever is corrected.
    assert found(sample(3.7), sensor=loop, correction=CORRECTION).reason == "below_range"


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        (0.0, (140.0, "good", "")),
        (16.0, (140.0, "good", "maintenance_required")),
        (17.0, (None, "bad", "failure")),
    ],
)
def test_the_instruments_state_counts(word, expected):
    made = found(sample(140.0), condition=CONDITION, condition_sample=sample(word, 20))
    assert (made.value, made.quality, made.reason) == expected
    assert (made.at_ns, made.raw) == (20, (7, 8))


def test_a_state_that_does_not_answer_is_the_lines_fault_and_as_old_as_the_last_answer():
    # Rules tell a dead line by its age: the newer signal must not hide it.
    silent = sample(None, 4, "bad", "no_reply")
    made = found(sample(140.0, 99), condition=CONDITION, condition_sample=silent)
    assert made == Sample(None, "bad", "no_reply", 4, (7, 8))


def test_a_condition_never_read_is_never_taken_for_good():
    made = found(sample(140.0), condition=CONDITION)
    assert made == Sample(None, "bad", "missing", 50, (7, 8))


def test_the_sensors_own_reason_says_more_than_the_instruments_state():
    loop = SENSOR.validate_python(TABLES["loop"])
    given = {"sensor": loop, "condition": CONDITION, "condition_sample": sample(1.0, 20)}
    assert found(sample(0.0), **given) == Sample(None, "bad", "open_circuit", 20, (7, 8))


@pytest.mark.parametrize("oldest", ["signal", "cold_junction", "condition_sample"])
def test_it_is_as_old_as_its_oldest_part(oldest):
    at_ns = {"signal": 50, "cold_junction": 51, "condition_sample": 52} | {oldest: 7}
    made = found(
        sample(4.734266, at_ns["signal"]),
        sensor=SENSOR.validate_python(TABLES["thermocouple"]),
        cold_junction=sample(25.0, at_ns["cold_junction"]),
        condition=CONDITION,
        condition_sample=sample(0.0, at_ns["condition_sample"]),
        correction=CORRECTION,
    )
    assert made.at_ns == 7
    assert made.value == pytest.approx((140.0 - 0.4) * 100.0 / 100.5, abs=1e-4)


@pytest.mark.parametrize("reason", ["out_of_specification", "maintenance_required"])
def test_what_the_signal_says_of_itself_stays(reason):
    quality = "uncertain" if reason == "out_of_specification" else "good"
    made = found(sample(100.9, 50, quality, reason), correction=CORRECTION)
    assert (made.quality, made.reason) == (quality, reason)
    assert made.value == pytest.approx(100.0)
