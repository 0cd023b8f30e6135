"""The configuration: every mistake told at once, and nothing but `ConfigError` raised.

All rigs, figures and addresses are invented.
"""

import copy
import datetime
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from daemon.config import ConfigError, ConfigFile, _judged, _rig, load
from drivers.kinds import kinds
from drivers.sensors import SENSORS
from rules.limits import Limits
from tests.virtual_clock import VirtualClock

ROOT = Path(__file__).parents[2]
EXAMPLE = (ROOT / "deploy" / "curehold.example.toml").read_text(encoding="utf-8")
BAY = "rigs.bay-2"


def second_rig(text: str) -> str:
    """The example with a second rig like the first, named bay-3."""
    rig = text[text.index(f"[{BAY}.facts]") :]
    return text + "\n" + rig.replace(BAY, "rigs.bay-3")


def faults_of(tmp_path: Path, text: str | bytes) -> list[str]:
    path = tmp_path / "shop.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(ConfigError) as caught:
        load(path)
    return caught.value.faults


def swapped(old: str, new: str, text: str = EXAMPLE) -> str:
    assert old in text
    return text.replace(old, new, 1)


def test_the_example_loads_and_paths_count_from_its_folder(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text(swapped("/var/lib/curehold/curehold.db", "kept/curehold.db"))
    config = load(path)
    assert config.site == "workshop"
    assert config.store.path == tmp_path / "kept" / "curehold.db"
    assert config.control.socket == Path("/run/curehold/control.sock")
    (rig,) = config.rigs
    assert rig.name == "bay-2"
    assert rig.limits.facts.cutout_c == 165.0
    assert rig.limits.of("run_unattended").prompt_after_min == 30.0
    assert set(config.points("modules")) == {f"bay-2/{name}" for name in rig.channels}
    assert config.outputs("modules")["bay-2/horn"].token == "bay-2"


def test_a_byte_order_mark_is_no_mistake(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_bytes(b"\xef\xbb\xbf" + EXAMPLE.encode())
    assert load(path).site == "workshop"


MISTAKES = {
    "unknown key": (
        swapped("set_kpa = 206.84", "set_kp = 206.84"),
        "rigs.bay-2.facts.set_kp: no such key; did you mean set_kpa?",
    ),
    "unknown section": (
        EXAMPLE + "\n[lnks]\n",
        "lnks: no such key; did you mean links?",
    ),
    "unknown hazard": (
        EXAMPLE + f"\n[{BAY}.limits.bag_loww]\nwarn_kpa = 185.0\n",
        "rigs.bay-2.limits.bag_loww: no such key; did you mean bag_low?",
    ),
    "wrong type": (
        swapped("set_c = 140.0", 'set_c = "140"'),
        'rigs.bay-2.facts.set_c = "140": give a number, for instance 1.5',
    ),
    "a switch for a number": (
        swapped("unit = 1", "unit = true"),
        "rigs.bay-2.channels.pad_inner_c.unit = true: give a whole number",
    ),
    "out of bounds": (
        swapped("set_c = 140.0", "set_c = 500"),
        "rigs.bay-2.facts.set_c = 500: give at most 180",
    ),
    "infinite": (
        swapped("set_c = 140.0", "set_c = inf"),
        "rigs.bay-2.facts.set_c = inf: give a number that is not infinite",
    ),
    "no such word": (
        swapped('"relieving"', '"releasing"'),
        "rigs.bay-2.facts.air_mode = \"releasing\": give 'relieving', 'non_relieving' or "
        "'locked_off'",
    ),
    "missing": (
        swapped("register = 7\n", ""),
        "rigs.bay-2.channels.release_request.register: missing; add it, "
        "docs/configuration.md says what it is",
    ),
    "nothing to read": (
        swapped(f"[{BAY}.facts]", "[rigs.bay-9]\nchannels = {}\n\n" + f"[{BAY}.facts]"),
        "rigs.bay-9.channels: give at least one entry",
    ),
    "warn not below trip": (
        EXAMPLE + f"\n[{BAY}.limits.pad_overtemperature]\nwarn_over_set_c = 20.0\n",
        "rigs.bay-2.limits.pad_overtemperature: trip_over_set_c = 15 is not above "
        "warn_over_set_c = 20; raise trip_over_set_c or lower warn_over_set_c",
    ),
    "trip not below cut-out": (
        swapped("cutout_c = 165.0", "cutout_c = 159.0"),
        "rigs.bay-2.limits: pad_overtemperature trips at 155 C, less than 5 C below "
        "facts.cutout_c = 159; lower pad_overtemperature.trip_over_set_c, or have the thermal "
        "cut-out set higher and state it",
    ),
    "bands crossing": (
        EXAMPLE + f"\n[{BAY}.limits.phases]\nheld_kpa = 15.0\n",
        "rigs.bay-2.limits: phases.empty_kpa = 10, filling_kpa = 20 and held_kpa = 15 must rise "
        "in this order; the bands may not cross",
    ),
    "threshold not under set": (
        EXAMPLE + f"\n[{BAY}.limits.hold]\nstarts_c = 140.0\n",
        "rigs.bay-2.limits: hold.starts_c = 140 is not below facts.set_c = 140; "
        "lower hold.starts_c or raise facts.set_c",
    ),
    "set above the bag's greatest": (
        swapped("set_kpa = 206.84", "set_kpa = 400.0"),
        "rigs.bay-2.facts: set_kpa = 400 is not below bag_max_kpa = 345; lower set_kpa, or "
        "correct bag_max_kpa from the bag's plate",
    ),
    "unknown channel": (
        swapped("channels.ambient_c", "channels.ambiant_c"),
        "rigs.bay-2.channels.ambiant_c: no such channel; did you mean ambient_c?",
    ),
    "unknown output": (
        swapped("outputs.horn", "outputs.hoorn"),
        "rigs.bay-2.outputs.hoorn: no such output; did you mean horn?",
    ),
    "doubled register": (
        swapped("register = 7", "register = 6"),
        "rigs.bay-2.channels.release_request: the same place as rigs.bay-2.channels.estop_ok "
        "(link modules, unit 3 discrete 6); give each its own",
    ),
    "overlapping registers": (
        swapped('register = 2\ntype = "float32"', 'register = 1\ntype = "float32"'),
        "rigs.bay-2.channels.bag_outer_kpa: the same place as rigs.bay-2.channels.bag_inner_kpa "
        "(link modules, unit 2 input 1); give each its own",
    ),
    "unknown link": (
        swapped('link = "modules"', 'link = "module"'),
        "rigs.bay-2.channels.pad_inner_c.link = 'module': no such link; give one of modules",
    ),
    "two links to one module": (
        EXAMPLE + '\n[links.again]\nkind = "modbus_tcp"\nhost = "192.0.2.10"\n',
        "links.again: the same address as links.modules; one link serves any number of rigs, "
        "keep one",
    ),
    "a unit that is reserved": (
        EXAMPLE.replace("unit = 3\nregister = 4\n", "unit = 250\nregister = 4\n"),
        "rigs.bay-2.outputs.release_permit.unit: unit 250 is reserved by the standard; give 0 to "
        "247, or 255 for a server that has no units behind it",
    ),
    "a rig's name": (
        EXAMPLE.replace(BAY, "rigs.BAY_2"),
        "rigs.BAY_2: this name cannot be used; give 1 to 24 small letters, digits and hyphens, "
        "like bay-2",
    ),
    "a rig's reserved name": (
        EXAMPLE.replace(BAY, "rigs.daemon"),
        "rigs.daemon: this name is the daemon's own in topics; choose another",
    ),
    "frames too seldom for the outputs": (
        swapped("set_c = 140.0", "set_c = 140.0\nframe_period_s = 10.0"),
        "rigs.bay-2.facts.frame_period_s = 10 is not below links.modules.hold_s = 3, so outputs "
        "would be let go between two frames; lower frame_period_s or raise hold_s",
    ),
    "facts among the limits": (
        EXAMPLE + f"\n[{BAY}.limits.facts]\nset_c = 130.0\n",
        "rigs.bay-2.limits.facts: facts stand in [rigs.bay-2.facts]; move them there",
    ),
    "a list for a table": (
        'site = "a"\nrigs = []\nlinks = 3\n',
        "links = 3: give a table in [brackets]",
    ),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_each_mistake_is_told_with_file_key_and_what_would_be_right(tmp_path, name):
    text, expected = MISTAKES[name]
    assert f"shop.toml: {expected}" in faults_of(tmp_path, text)


@pytest.mark.parametrize("name", [name for name in MISTAKES if name != "a list for a table"])
def test_one_mistake_is_told_once_and_nothing_else_is(tmp_path, name):
    text, expected = MISTAKES[name]
    assert faults_of(tmp_path, text) == [f"shop.toml: {expected}"]


def test_every_mistake_of_several_sections_is_told_once(tmp_path):
    text = swapped("port = 502", "port = 70000")
    text = swapped("timeout_s = 0.5", "timeout_s = 5.0\nhold_s = 0.5", text)
    text = swapped("set_kpa = 206.84", "set_kp = 206.84", text)
    text = swapped("outputs.horn", "outputs.hoorn", text)
    text = swapped("port = 1883", 'port = "1883"', text)
    text = swapped("cutout_c = 165.0", "cutout_c = 159.0", text)
    text = swapped("register = 7", "register = 6", text)
    text += f"\n[{BAY}.limits.bag_low]\nwarn_kpa = 140.0\ntrip_kpx = 1\n"
    text += f"\n[{BAY}.limits.hold]\nstarts_c = 150.0\npauses_c = 160.0\n"
    found = faults_of(tmp_path, text)
    for begin in (
        "mqtt.port = ",
        "links.modules.port = 70000: give at most 65535",
        "links.modules: timeout_s = 5 is above period_s = 1",
        "links.modules: hold_s = 0.5 is below period_s = 1",
        "rigs.bay-2.facts.set_kp: no such key",
        "rigs.bay-2.limits.bag_low.trip_kpx: no such key",
        "rigs.bay-2.limits.bag_low: warn_kpa = 140 is not above trip_kpa = 150",
        "rigs.bay-2.limits.hold: pauses_c = 160 is above starts_c = 150",
        "rigs.bay-2.limits: hold.starts_c = 150 is not below facts.set_c = 140",
        "rigs.bay-2.limits: pad_overtemperature trips at 155 C",
        "rigs.bay-2.outputs.hoorn: no such output",
        "rigs.bay-2.channels.release_request: the same place",
        "rigs.bay-2.facts.frame_period_s = 1 is not below links.modules.hold_s = 0.5",
    ):
        assert sum(line.startswith(f"shop.toml: {begin}") for line in found) == 1, (begin, found)
    assert len(found) == 13
    assert not any("; and " in line for line in found)  # one mistake a line


def test_what_follows_from_a_mistake_is_not_told_beside_it(tmp_path):
    # With set_c mended starts_c may be right: nobody can say yet.
    text = swapped("set_c = 140.0", "set_c = 500.0")
    text += f"\n[{BAY}.limits.hold]\nstarts_c = 150.0\n"
    assert faults_of(tmp_path, text) == [
        "shop.toml: rigs.bay-2.facts.set_c = 500.0: give at most 180"
    ]


def test_two_rigs_may_share_the_room_but_no_coil_pad_or_bag(tmp_path):
    found = faults_of(tmp_path, second_rig(EXAMPLE))
    told = {line.split(":")[1].strip() for line in found}
    assert "rigs.bay-3.outputs.heat_permit" in told
    assert "rigs.bay-3.channels.pad_inner_c" in told
    assert not told & {f"rigs.bay-3.channels.{name}" for name in ("ambient_c", "supply_kpa")}
    apart = second_rig(EXAMPLE)
    first, second = apart.split("[rigs.bay-3.facts]")
    for unit in (1, 2, 3):
        second = second.replace(f"unit = {unit}\n", f"unit = {unit + 10}\n")
    path = tmp_path / "two.toml"
    path.write_text(first + "[rigs.bay-3.facts]" + second)
    assert [rig.name for rig in load(path).rigs] == ["bay-2", "bay-3"]


def test_a_rig_without_a_title_is_called_by_its_name(tmp_path):
    path = tmp_path / "shop.toml"
    text = swapped('title = "BAY 2"\n', "").replace(BAY, "rigs.bay-2-by-the-west-gate")
    path.write_text(text)
    (rig,) = load(path).rigs
    assert rig.limits.facts.title == "BAY 2 BY THE WEST GA"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"site = \n", "shop.toml: not TOML: Invalid value (at line 1, column 8); mend"),
        (b'site = "a"\n[a]\n[a]\n', "shop.toml: not TOML: Cannot declare ('a',) twice (at line 3"),
        (b'site = "a"\n# \xff\n', "shop.toml:2: not UTF-8 text; save the file as UTF-8"),
        (b"a = " + b"9" * 5000, "shop.toml: not TOML: "),
        (b"a = " + b"[" * 5000, "shop.toml: not TOML: "),
        (b"#" * 1_000_001, "shop.toml: over 1000000 bytes; this is no configuration"),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(tmp_path, content, told):
    (fault,) = faults_of(tmp_path, content)
    assert told in fault


def test_a_file_that_cannot_be_read_is_told(tmp_path):
    for path, why in ((tmp_path / "none.toml", "No such file"), (tmp_path, "Is a directory")):
        with pytest.raises(ConfigError, match=f"{path}: cannot be read: {why}"):
            load(path)


def test_an_empty_file_lacks_three_things(tmp_path):
    found = faults_of(tmp_path, "")
    assert [line.split(":")[1].strip() for line in found] == ["site", "links", "rigs"]


def test_a_key_that_would_break_a_terminal_is_shown_harmless(tmp_path):
    (fault,) = faults_of(tmp_path, EXAMPLE + '\n["a\\u001b[2Jb"]\n')
    assert fault.isprintable()


# Values that a hand may leave in a file, of every kind TOML has.
JUNK = st.one_of(
    st.none(),  # the key is left out
    st.booleans(),
    st.integers(-(2**70), 2**70),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
    st.lists(st.just({}), max_size=1),
    st.dates(),
    st.datetimes(),
    st.sampled_from(["", "\0", "../x", datetime.time(1, 2), {"module": 3}, {"1": {}}]),
)


def places(table: dict[str, Any], above: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found = []
    for key, value in table.items():
        found.append((*above, key))
        if isinstance(value, dict):
            found += places(value, (*above, key))
    return found


WHOLE = {
    path.name: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in (
        ROOT / "deploy" / "curehold.example.toml",
        ROOT / "deploy" / "curehold.bus.example.toml",
        ROOT / "tests" / "data" / "every_wire.toml",
    )
}
CHANGES = {
    name: st.lists(st.tuples(st.sampled_from(places(raw)), JUNK), min_size=1, max_size=4)
    for name, raw in WHOLE.items()
}


def test_every_kind_of_link_and_of_sensor_is_mutilated():
    raw = WHOLE["every_wire.toml"]
    assert {link["kind"] for link in raw["links"].values()} == set(kinds())
    (rig,) = raw["rigs"].values()
    signals = {entry["sensor"]["signal"] for entry in rig["channels"].values() if "sensor" in entry}
    assert signals == set(SENSORS)
    assert _judged(raw, ROOT)[1] == []


@pytest.mark.parametrize("name", WHOLE)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_no_mutilation_raises_anything_but_a_told_mistake(name, data):
    raw = copy.deepcopy(WHOLE[name])
    for place, value in data.draw(CHANGES[name]):
        table: Any = raw
        for part in place[:-1]:
            table = table.get(part) if isinstance(table, dict) else None
        if not isinstance(table, dict):
            continue
        table.pop(place[-1], None)
        if value is not None:
            table[place[-1]] = value
    wiring, found = _judged(raw, ROOT)
    assert len(found) == len(set(found))
    assert all(line.isprintable() and ": " in line for line in found)
    # What is found right can be used: the models agree with the faults told.
    if not found:
        for rig, table in ConfigFile.model_validate(raw).rigs.items():
            assert _rig(rig, table, wiring).channels.keys() == table.channels.keys()
        for link, one in wiring.links.items():
            points, outputs = wiring.points(link), wiring.outputs_of(link)
            opened = one.kind.open(link, one.settings, points, outputs, VirtualClock())
            assert opened.snapshot().keys() == points.keys() | outputs.keys()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(EXAMPLE)), st.integers(0, 200), st.binary(max_size=4))
def test_no_cut_through_the_file_raises_anything_but_a_told_mistake(
    tmp_path_factory, at, drop, put
):
    path = tmp_path_factory.getbasetemp() / "cut.toml"
    content = EXAMPLE.encode()
    path.write_bytes(content[:at] + put + content[at + drop :])
    try:
        load(path)
    except ConfigError as error:
        assert error.faults  # noqa: PT017 - both ends are right


def models(model: type[BaseModel]) -> set[type[BaseModel]]:
    found = {model}
    for field in model.model_fields.values():
        for part in (field.annotation, *getattr(field.annotation, "__args__", ())):
            if isinstance(part, type) and issubclass(part, BaseModel) and part not in found:
                found |= models(part)
    return found


def test_every_key_is_documented():
    text = (ROOT / "docs" / "configuration.md").read_text(encoding="utf-8")
    for model in models(ConfigFile) | models(Limits):
        for name, field in model.model_fields.items():
            key = field.alias or name
            told = re.search(rf"`{key}`|[.[]{key}[].]", text)  # a key, or a section
            assert told, f"{model.__name__}.{name}"


def test_the_document_tells_every_type_a_key_may_have():
    text = (ROOT / "docs" / "configuration.md").read_text(encoding="utf-8")
    assert text.count("| `line` |  | must be given | whole number or text |") == 2  # read, written
    assert "| `debounce_ms` | ms | 20 | whole number, ≥ 0, ≤ 500 |" in text


def test_the_document_is_fresh():
    made = subprocess.run(
        [sys.executable, "-m", "daemon.document_config"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    fresh = (ROOT / "docs" / "configuration.md").read_text(encoding="utf-8") == made.stdout
    assert fresh, "run: python -m daemon.document_config > docs/configuration.md"


@pytest.mark.parametrize(
    ("stated", "fitted", "says"),
    [
        (None, ("inner", "outer"), ""),
        ("inner_only", ("inner",), ""),
        ("outer_only", ("outer",), ""),
        (None, ("inner",), 'pads: "both" is stated, but pad_outer_c is not fitted'),
        (None, ("inner",), 'or state pads = "inner_only"'),
        ("both", ("outer",), 'give rigs.bay-2.channels.pad_inner_c, or state pads = "outer_only"'),
        ("inner_only", ("outer",), 'pads: "inner_only" is stated, but pad_inner_c is not fitted'),
        ("inner_only", ("inner", "outer"), "leave out rigs.bay-2.channels.pad_outer_c"),
        ("one", ("inner",), "give 'both', 'inner_only' or 'outer_only'"),
    ],
)
def test_one_pad_alone_must_be_declared(stated, fitted, says, tmp_path):
    pads = "".join(
        f'[rigs.bay-2.channels.pad_{side}_c]\nlink = "board"\nkey = "{side}"\n' for side in fitted
    )
    facts = "" if stated is None else f'[rigs.bay-2.facts]\npads = "{stated}"\n'
    path = tmp_path / "curehold.toml"
    path.write_text(
        'site = "yard"\n[links.board]\nkind = "serial_lines"\ndevice = "/dev/null"\n'
        f'form = "key_value"\n{facts}{pads}'
    )
    if says:
        with pytest.raises(ConfigError) as caught:
            load(path)
        assert says in str(caught.value)
    else:
        assert load(path).rigs[0].limits.facts.pads.value == (stated or "both")
