"""A MIDI output that goes and comes back."""

import pytest

from practice.ports.ports import PortError
from practice.sound import outlet as outlet_module
from practice.sound.instrument import MidiInstrument
from practice.sound.outlet import Outlet
from tests.waiting import wait_for

ON, OFF, DAMPER_DOWN = b"\x90\x3c\x40", b"\x80\x3c\x40", b"\xb0\x40\x7f"


class Port:
    def __init__(self, name: str) -> None:
        self.name = name
        self.sent: list[bytes] = []
        self.closed = False

    def send(self, data: bytes) -> None:
        assert not self.closed
        self.sent.append(data)

    def close(self) -> None:
        self.closed = True


class Driver:
    """Outputs by hand; `names` are what is plugged in."""

    def __init__(self, *names: str, windows: bool = False) -> None:
        self.names = list(names)
        self.windows = windows
        self.opened: list[Port] = []

    def outputs(self) -> list[str]:
        return list(self.names)

    def open_output(self, name: str) -> Port:
        if name not in self.names:
            raise PortError("no such MIDI port", name, "")
        self.opened.append(Port(name))
        return self.opened[-1]


@pytest.fixture(autouse=True)
def looked_at_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outlet_module, "WATCH_S", 3600.0)


def test_a_part_of_the_name_is_enough_and_none_of_it_is_told() -> None:
    outlet = Outlet(Driver("Through", "Old upright 20:0"), "upright")
    assert outlet.problem == ""
    outlet.close()
    with pytest.raises(PortError, match="no such MIDI output"):
        Outlet(Driver("Through"), "upright")


def test_it_is_told_that_it_went_and_opened_again_under_another_number() -> None:
    driver = Driver("Upright 20:0", "Organ 24:0")
    outlet = Outlet(driver, "upright")
    driver.names = ["Organ 24:0"]
    outlet.look()
    assert "Upright 20:0 is unplugged" in outlet.problem
    assert driver.opened[0].closed
    outlet.send(ON)
    driver.names = ["Organ 24:0", "Upright 28:0"]
    outlet.look()
    outlet.send(OFF)
    assert outlet.problem == ""
    assert [p.name for p in driver.opened] == ["Upright 20:0", "Upright 28:0"]
    assert driver.opened[0].sent == []
    assert driver.opened[1].sent == [OFF]
    outlet.close()
    assert driver.opened[1].closed
    assert outlet.problem == ""


def test_what_the_pulled_cable_left_sounding_is_ended_when_it_is_back() -> None:
    driver = Driver("Upright")
    outlet = Outlet(driver, "Upright")
    instrument = MidiInstrument(outlet)
    instrument.play_now(DAMPER_DOWN)
    instrument.play_now(ON)
    driver.names = []
    outlet.look()
    assert instrument.problem == outlet.problem != ""
    instrument.play_now(OFF)  # is lost, so that the instrument itself believes the key is up
    driver.names = ["Upright"]
    outlet.look()
    again = driver.opened[1].sent
    assert OFF in again
    assert b"\xb0\x40\x00" in again
    assert again.index(b"\xb0\x40\x00") < again.index(OFF) < again.index(b"\xb0\x78\x00")
    instrument.close()


def test_another_that_was_asked_for_takes_its_place() -> None:
    driver = Driver("Grand left")
    outlet = Outlet(driver, "grand")
    driver.names = ["Grand right"]
    outlet.look()
    assert [p.name for p in driver.opened] == ["Grand left", "Grand right"]
    driver.names = ["Organ"]
    outlet.look()
    assert len(driver.opened) == 2
    assert outlet.problem
    outlet.close()


def test_a_twin_of_the_same_name_that_stays_is_not_taken_for_it() -> None:
    driver = Driver("Grand", "Grand")
    outlet = Outlet(driver, "Grand")
    driver.names = ["Grand"]
    outlet.look()  # which of the two is left cannot be known: it is opened anew
    assert driver.opened[0].closed
    assert not driver.opened[1].closed
    outlet.close()


def test_no_failure_of_the_driver_ends_the_watch(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outlet_module, "WATCH_S", 0.001)
    driver = Driver("Upright")
    outlet = Outlet(driver, "Upright")
    looks = iter([OSError("gone"), PortError("cannot", "", ""), RuntimeError("what?")])

    def outputs() -> list[str]:
        for error in looks:
            raise error
        return []

    driver.outputs = outputs
    wait_for(lambda: bool(outlet.problem))
    outlet.close()


def test_a_port_that_cannot_be_opened_yet_is_tried_again() -> None:
    driver = Driver("Upright")
    outlet = Outlet(driver, "Upright")
    driver.names = []
    outlet.look()
    driver.names = ["Upright"]
    taken, driver.open_output = (
        driver.open_output,
        lambda name: (_ for _ in ()).throw(PortError("cannot be opened", name, "")),
    )
    with pytest.raises(PortError):
        outlet.look()
    driver.open_output = taken
    outlet.look()
    assert outlet.problem == ""
    outlet.close()
