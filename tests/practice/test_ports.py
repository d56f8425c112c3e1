"""The keyboard's port with a driver made for the test: chosen, lost, found again."""

import pytest

from engine.performance import KeyEvent
from practice.clock import ManualClock
from practice.ports.port_names import choose_name, is_own, normalise_name
from practice.ports.ports import Inlet, Keyboard, PortError
from practice.ports.stamps import StampClock


class TestDriver:
    """Ports that a test plugs and unplugs."""

    __test__ = False
    windows = False

    def __init__(self, *names):
        self.names = list(names)
        self.open = {}
        self.refuse = False

    def inputs(self):
        return list(self.names)

    def grain_s(self, name):
        return 0.001

    def open_input(self, name, callback):
        if self.refuse:
            raise PortError("cannot be opened", name)
        self.open[name] = callback
        return _Opened(self.open, name)


class _Opened:
    def __init__(self, ports, name):
        self._ports, self._name = ports, name

    def close(self):
        self._ports.pop(self._name, None)


@pytest.fixture
def sit():
    """Make a keyboard on a driver; returns it with all events and changes heard."""

    def make(driver, **choice):
        events, changes = [], []
        keyboard = Keyboard(driver, ManualClock(5.0), events.append, changes.append, **choice)
        keyboard.look()
        return keyboard, events, changes

    return make


@pytest.mark.parametrize(
    ("one", "other", "windows"),
    [
        ("Stage Piano:Stage Piano MIDI 1 20:0", "Stage Piano:Stage Piano MIDI 1 28:0", False),
        ("a2j:Stage Piano [20] (capture): port", "a2j:Stage Piano [31] (capture): port", False),
        ("Stage Piano 0", "Stage Piano 1", True),
        ("STAGE  piano", "Stage Piano", False),
    ],
)
def test_names_are_the_same_whatever_number_they_got_this_time(one, other, windows):
    assert normalise_name(one, windows) == normalise_name(other, windows)


def test_a_model_number_is_no_running_number():
    assert normalise_name("Keys 49") != normalise_name("Keys 88")


@pytest.mark.parametrize(
    ("wanted", "remembered", "expected"),
    [
        ("", "", "Silent Upright"),
        ("stage", "", "Stage Piano:1 20:0"),
        ("", "Stage Piano:1 24:0", "Stage Piano:1 20:0"),
        ("organ", "Stage Piano:1 24:0", None),
        ("", "an organ that is not here", "Silent Upright"),
        ("through", "", "Midi Through:0 14:0"),
    ],
)
def test_one_of_several_is_chosen(wanted, remembered, expected):
    names = ["Midi Through:0 14:0", "Undersong:out", "Silent Upright", "Stage Piano:1 20:0"]
    assert choose_name(names, wanted, remembered) == expected


def test_a_passage_and_our_own_ports_are_never_taken_by_themselves():
    assert choose_name(["Midi Through:0 14:0", "Undersong:keyboard"]) is None
    assert is_own("Undersong watch:in")


def test_messages_come_stamped(sit):
    driver = TestDriver("Upright")
    _, events, changes = sit(driver)
    driver.open["Upright"](([0x90, 60, 64], 0.0))
    assert [(e.time_s, e.data) for e in events] == [(5.0, b"\x90\x3c\x40")]
    assert [(c.name, c.connected) for c in changes] == [("Upright", True)]


def test_clock_sensing_and_exclusive_messages_are_passed_over_and_their_time_is_not_lost():
    heard = []
    clock = ManualClock(0.0)
    inlet = Inlet(clock, StampClock(), heard.append)
    for i, data in enumerate(([0x90, 60, 9], [0xFE], [0xF8], [0xF0, 1, 0xF7], [0x80, 60, 0])):
        clock.move_to(0.3 * i + (0.05 if i == 4 else 0.0))
        inlet((data, 0.3 if i else 0.0))
    assert [e.data[0] for e in heard] == [0x90, 0x80]
    assert heard[-1].time_s == pytest.approx(1.2)


def test_half_messages_and_what_is_no_message_are_passed_over():
    heard = []
    inlet = Inlet(ManualClock(), StampClock(), heard.append)
    odd = ([0xB0], [0x90, 60], [60, 64], [0x90, 200, 64], [0x90, 60, 64, 1], [0xC0, 1, 2], [0xF4])
    for message in (*odd, [0xC0, 1], [0x90, 60, 64]):
        inlet((message, 0.0))
    assert [bytes(e.data) for e in heard] == [b"\xc0\x01", b"\x90\x3c\x40"]
    assert inlet.failures == 0


def test_a_callback_that_fails_is_counted_and_the_next_message_comes():
    heard = []

    def hand_on(event):
        if event.data[1] == 61:
            raise RuntimeError
        heard.append(event)

    inlet = Inlet(ManualClock(), StampClock(), hand_on)
    for message in ([0x90, 60, 1], [0x90, 61, 1], None, [], [0x90, 62, 1]):
        inlet((message, 0.0))
    assert [e.data[1] for e in heard] == [60, 62]
    assert inlet.failures == 1


def test_unplugging_shows_and_replugging_under_a_new_number_goes_on(sit):
    driver = TestDriver("Stage Piano 20:0")
    keyboard, events, changes = sit(driver)
    driver.names.clear()
    keyboard.look()
    assert keyboard.name == ""
    assert driver.open == {}
    driver.names.append("Stage Piano 24:0")
    keyboard.look()
    assert [c.connected for c in changes] == [True, False, True]
    driver.open["Stage Piano 24:0"](([0x90, 60, 64], 0.0))
    assert len(events) == 1


@pytest.mark.parametrize(
    ("one", "twin", "windows"),
    [
        ("Stage Piano 20:0", "Stage Piano 24:0", False),
        ("Stage Piano", "Stage Piano", False),
        ("Stage Piano 0", "Stage Piano 1", True),
    ],
)
def test_when_the_own_one_goes_its_twin_is_not_taken_for_it(sit, one, twin, windows):
    driver = TestDriver(one, twin)
    driver.windows = windows
    keyboard, _, changes = sit(driver)
    driver.names[:] = ["Stage Piano 0" if windows else twin]
    keyboard.look()
    assert [c.connected for c in changes] == [True, False, True]
    assert keyboard.name == driver.names[0]
    assert list(driver.open) == [driver.names[0]]


def test_a_twin_that_comes_and_one_numbered_otherwise_that_goes_change_nothing(sit):
    driver = TestDriver("Stage Piano 20:0")
    keyboard, _, changes = sit(driver)
    driver.names.append("Stage Piano 24:0")
    keyboard.look()
    driver.names.pop()
    keyboard.look()
    assert len(changes) == 1


def test_another_keyboard_is_not_taken_while_the_own_one_is_there(sit):
    driver = TestDriver("Upright")
    keyboard, _, changes = sit(driver, remembered="Upright")
    driver.names.insert(0, "Stage Piano")
    keyboard.look()
    assert keyboard.name == "Upright"
    assert len(changes) == 1


def test_after_a_loss_the_same_one_is_waited_for_only_if_asked_by_name(sit):
    driver = TestDriver("Upright", "Stage Piano")
    asked, _, _ = sit(driver, wanted="upright")
    driver.names.remove("Upright")
    asked.look()
    assert asked.name == ""
    free, _, _ = sit(TestDriver("Stage Piano"), remembered="Upright")
    assert free.name == "Stage Piano"


def test_changing_to_another_by_name(sit):
    driver = TestDriver("Upright", "Stage Piano")
    keyboard, _, changes = sit(driver)
    keyboard.want("stage")
    assert keyboard.name == "Stage Piano"
    assert [(c.name, c.connected) for c in changes][1:] == [
        ("Upright", False),
        ("Stage Piano", True),
    ]


def test_a_port_held_by_another_program_is_tried_again(sit):
    driver = TestDriver("Upright")
    driver.refuse = True
    keyboard, _, changes = sit(driver)
    assert (keyboard.name, changes) == ("", [])
    driver.refuse = False
    keyboard.look()
    assert keyboard.name == "Upright"


def test_failures_are_counted_over_reopenings(sit):
    driver = TestDriver("Upright")

    def broken(_event: KeyEvent):
        raise RuntimeError

    keyboard = Keyboard(driver, ManualClock(), broken, lambda change: None)
    for _ in range(2):
        keyboard.look()
        driver.open["Upright"](([0x90, 60, 64], 0.0))
        driver.names.clear()
        keyboard.look()
        driver.names.append("Upright")
    assert keyboard.failures == 2
