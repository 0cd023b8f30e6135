"""One pad by itself: thermostat, cut-out, heater, lead and joint."""

import pytest

from simulator.pads import Pad, PadSettings, Thermostat, ThermostatState

AMBIENT_C = 20.0
SIZE = PadSettings()
NOMINAL_OHM = 230.0**2 / SIZE.power_w  # Ohm and Joule


def warm(temperature_c):
    """A pad held at one temperature for long."""
    pad = Pad(SIZE, temperature_c)
    pad.thermostat.set_c = 140.0
    return pad


def follow(pad, seconds, voltage_share=1.0):
    shares = [pad.switch(1.0, voltage_share, AMBIENT_C) for _ in range(seconds)]
    return shares[-1]


@pytest.mark.parametrize(
    ("voltage_share", "set_c", "broken", "heats"),
    [
        (1.0, 60.0, False, True),
        (0.0, 60.0, False, False),
        (1.0, None, False, False),
        (1.0, 10.0, False, False),
        (1.0, 60.0, True, False),
    ],
)
def test_heats_only_when_powered_called_and_whole(voltage_share, set_c, broken, heats):
    pad = Pad(SIZE, AMBIENT_C)
    pad.thermostat.set_c = set_c
    pad.lead_broken = broken
    watts = follow(pad, 60, voltage_share)
    assert pad.heating is heats
    assert (sum(watts) > 0) is heats
    assert (pad.current_a > 0) is heats
    assert (pad.heated_j > 0) is heats


def test_power_and_current_are_those_of_heater_and_lead_in_series():
    pad = warm(20.0)
    centre_w, edge_w = follow(pad, 1)
    current_a = 230.0 / (NOMINAL_OHM + SIZE.lead_ohm)
    assert pad.current_a == pytest.approx(current_a)
    assert pad.power_w == pytest.approx(current_a**2 * NOMINAL_OHM)
    assert centre_w + edge_w == pytest.approx(pad.power_w)
    assert edge_w == pytest.approx(pad.power_w * SIZE.edge_power_share)
    assert pad.heated_j == pytest.approx(pad.power_w * 1.0)


@pytest.mark.parametrize("voltage_share", [0.5, 0.8, 1.0])
def test_power_goes_with_the_square_of_the_voltage(voltage_share):
    whole, dipped = warm(20.0), warm(20.0)
    follow(whole, 1)
    follow(dipped, 1, voltage_share)
    assert dipped.power_w == pytest.approx(whole.power_w * voltage_share**2)
    assert dipped.current_a == pytest.approx(whole.current_a * voltage_share)


@pytest.mark.parametrize("joint_ohm", [0.5, 3.0, 30.0])
def test_a_bad_joint_takes_its_share_and_it_is_not_the_pads(joint_ohm):
    pad = warm(20.0)
    pad.lead_extra_ohm = joint_ohm
    watts = follow(pad, 1)
    current_a = 230.0 / (NOMINAL_OHM + SIZE.lead_ohm + joint_ohm)
    assert pad.joint_w == pytest.approx(current_a**2 * joint_ohm)
    assert sum(watts) == pytest.approx(current_a**2 * NOMINAL_OHM)


def test_burnt_out_elements_leave_the_others_alone():
    whole, half, rim = warm(20.0), warm(20.0), warm(20.0)
    half.heater_share = 0.5
    rim.edge_heater_share = 0.0
    whole_w, half_w, rim_w = follow(whole, 1), follow(half, 1), follow(rim, 1)
    # parallel elements; only the drop along the lead shrinks with their current
    assert half_w == pytest.approx([watts / 2 for watts in whole_w], rel=0.01)
    assert rim_w[0] == pytest.approx(whole_w[0], rel=0.01)
    assert rim_w[1] == 0.0
    half.heater_share = 0.0
    assert follow(half, 1) == (0.0, 0.0)
    assert half.heating is False


def test_thermostat_lags_by_its_sensor():
    thermostat = Thermostat(12.0, 1.0, 20.0)
    for _ in range(12):
        thermostat.advance(1.0, 120.0, AMBIENT_C)
    # first order: 1 - 1/e of the way after one lag, a little more in whole steps
    assert thermostat.sensed_c == pytest.approx(20 + 100 * (1 - 1 / 2.71828), abs=2.0)


@pytest.mark.parametrize(("sensor_share", "slower"), [(1.0, False), (0.0, True)])
def test_a_sensor_that_hangs_free_is_slower(sensor_share, slower):
    thermostat = Thermostat(12.0, 1.0, 140.0)
    thermostat.sensor_share = sensor_share
    for _ in range(12):
        thermostat.advance(1.0, 20.0, AMBIENT_C)
    # 20 + 120 / e after one lag when seated
    assert (thermostat.sensed_c > 90.0) is slower
    assert (thermostat.sensed_c < 66.0) is not slower


@pytest.mark.parametrize(
    ("was_calling", "pad_c", "calls"),
    [
        (True, 138.0, True),
        (True, 140.9, True),
        (True, 141.1, False),
        (False, 141.1, False),
        (False, 139.1, False),
        (False, 138.9, True),
    ],
)
def test_thermostat_keeps_still_inside_its_band(was_calling, pad_c, calls):
    thermostat = Thermostat(12.0, 1.0, pad_c)
    thermostat.set_c = 140.0
    thermostat.calling = was_calling
    thermostat.advance(1.0, pad_c, AMBIENT_C)
    assert thermostat.calling is calls


@pytest.mark.parametrize(
    ("state", "calls_hot", "calls_cold"),
    [
        (ThermostatState.WORKS, False, True),
        (ThermostatState.STUCK_CLOSED, True, True),
        (ThermostatState.STUCK_OPEN, False, False),
    ],
)
def test_a_stuck_contact_stays(state, calls_hot, calls_cold):
    for pad_c, calls in ((160.0, calls_hot), (60.0, calls_cold)):
        pad = warm(pad_c)
        pad.thermostat.state = state
        follow(pad, 5)
        assert pad.thermostat.calling is calls


@pytest.mark.parametrize(
    ("error_c", "sensor_share", "shows_c"),
    [(0.0, 1.0, 140.0), (-10.0, 1.0, 130.0), (5.0, 1.0, 145.0), (0.0, 0.5, 80.0), (0.0, 0.0, 20.0)],
)
def test_what_the_thermostat_shows_is_its_sensor_with_its_error(error_c, sensor_share, shows_c):
    pad = warm(140.0)
    pad.thermostat.error_c = error_c
    pad.thermostat.sensor_share = sensor_share
    follow(pad, 600)
    assert pad.thermostat.sensed_c == pytest.approx(shows_c, abs=0.01)
    assert pad.thermostat.calling is (shows_c < 139.0)


@pytest.mark.parametrize(
    ("pad_c", "bridged", "cutout_ok", "heats"),
    [
        (164.9, False, True, True),
        (165.5, False, False, False),
        (165.5, True, False, True),
    ],
)
def test_only_a_bridged_cutout_lets_a_runaway_go_on(pad_c, bridged, cutout_ok, heats):
    pad = warm(pad_c)
    pad.thermostat.state = ThermostatState.STUCK_CLOSED
    pad.cutout_bridged = bridged
    follow(pad, 120)
    assert pad.cutout_ok is cutout_ok
    assert pad.heating is heats


@pytest.mark.parametrize(("seconds", "cutout_ok"), [(10, True), (90, False)])
def test_the_cutouts_bimetal_lags(seconds, cutout_ok):
    pad = warm(20.0)
    pad.centre_c = 170.0
    follow(pad, seconds)
    # first order, lag 15 s: half the way after 10 s, a 400th of it left after 90 s
    assert pad.cutout_ok is cutout_ok


def test_an_opened_cutout_stays_open_until_reset():
    pad = warm(170.0)
    pad.thermostat.state = ThermostatState.STUCK_CLOSED
    follow(pad, 5)
    pad.centre_c = pad.edge_c = 60.0
    follow(pad, 300)
    assert (pad.cutout_ok, pad.heating) == (False, False)
    pad.cutout_ok = True
    follow(pad, 1)
    assert (pad.cutout_ok, pad.heating) == (True, True)


def test_temperature_is_the_mean_over_the_face():
    pad = Pad(SIZE, 20.0)
    pad.centre_c, pad.edge_c = 140.0, 130.0
    assert pad.temperature_c == pytest.approx(140.0 - 10.0 * SIZE.edge_area_share)
