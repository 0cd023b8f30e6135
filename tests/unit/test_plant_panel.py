"""The panel: buttons, relays, what can be seen and heard of them."""

import pytest

from simulator.panel import BUTTONS, COILS, SIDES, Controls, RelayModule


@pytest.mark.parametrize("button", BUTTONS)
def test_a_press_lasts_as_long_as_it_is_held(button):
    controls = Controls()
    assert not controls.pressed(button, 10.0)
    controls.press(button, 10.0, 2.0)
    assert controls.pressed(button, 10.0)
    assert controls.pressed(button, 11.9)
    assert not controls.pressed(button, 12.0)


@pytest.mark.parametrize("button", BUTTONS)
def test_a_taped_button_stays_down_until_the_tape_is_off(button):
    controls = Controls()
    controls.taped.add(button)
    assert [controls.pressed(other, 1e6) for other in BUTTONS] == [
        other == button for other in BUTTONS
    ]
    controls.taped.discard(button)
    assert not controls.pressed(button, 1e6)


def test_each_rig_has_its_own_plugs_and_tape():
    one, other = Controls(), Controls()
    assert one.plugged == dict.fromkeys(SIDES, True)
    one.plugged["inner"] = False
    one.taped.add("here_button")
    assert other == Controls()


@pytest.mark.parametrize(
    ("on", "stuck", "powered", "closed"),
    [
        (True, None, True, True),
        (False, None, True, False),
        (True, None, False, False),
        (True, False, True, False),
        (False, True, True, True),
        (False, True, False, True),
    ],
)
def test_a_contact_follows_its_coil_unless_stuck_or_without_supply(on, stuck, powered, closed):
    relays = RelayModule()
    relays.coils["heat_permit"] = on
    relays.powered = powered
    if stuck is not None:
        relays.stuck["heat_permit"] = stuck
    assert relays.contact("heat_permit") is closed
    assert relays.coils["heat_permit"] is on  # what is read back is the coil, not the contact
    assert not relays.contact("beacon_red")


@pytest.mark.parametrize(("horn_dead", "sounds"), [(False, True), (True, False)])
def test_a_dead_horn_is_not_heard_though_its_contact_closes(horn_dead, sounds):
    relays = RelayModule()
    relays.coils = dict.fromkeys(COILS, True)
    relays.horn_dead = horn_dead
    assert relays.contact("horn")
    assert relays.shown() == dict.fromkeys(COILS, True) | {"horn": sounds}


@pytest.mark.parametrize(
    ("timeout_s", "silent_s", "open_then"),
    [(5.0, 5, False), (5.0, 6, True), (0.0, 100, False)],
)
def test_silence_opens_all_coils_where_a_limit_is_set(timeout_s, silent_s, open_then):
    relays = RelayModule()
    relays.timeout_s = timeout_s
    relays.coils = dict.fromkeys(COILS, True)
    for _ in range(silent_s):
        relays.advance(1.0)
    assert relays.coils == dict.fromkeys(COILS, not open_then)


def test_a_request_begins_the_silence_anew():
    relays = RelayModule()
    relays.coils["horn"] = True
    for _ in range(20):
        relays.advance(1.0)
        relays.heard()
    assert relays.coils["horn"]


def test_a_module_that_lost_its_supply_has_forgotten_its_coils():
    relays = RelayModule()
    relays.coils["heat_permit"] = True
    relays.powered = False
    relays.advance(1.0)
    relays.powered = True
    relays.advance(1.0)
    assert relays.coils == dict.fromkeys(COILS, False)
