"""Choosing a drill: what is on the sheet of drills, and what each key does there. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from engine.drill import DrillSheet
from engine.errors import UndersongError
from practice.drills.coaching import CHOSEN
from practice.drills.kept_sheets import LONGEST_NAME, check_new_name
from practice.drills.offers import EMPTY_SHELF, Offer, Shelf, list_offers, list_places
from practice.drills.places import find_places
from practice.drills.sheet_fields import Field, change_field, list_fields
from practice.snapshot import Command

if TYPE_CHECKING:
    from practice.window.view import View

#: The list; the numbers of one drill; its name, being typed.
Stage = Literal["list", "numbers", "name"]
#: Keys that move through rows, by how many.
ROW_STEPS = {
    "up": -1, "down": 1, "page up": -8, "page down": 8, "home": -10_000, "end": 10_000,
}  # fmt: skip
#: On the list: let go of a kept drill.
DELETES = ("delete", "backspace")
#: Actions whose keys still work over the list and the numbers.
STILL = ("theme", "smaller", "larger", "fullscreen", "drills", "help", "settings")


@dataclass(frozen=True, slots=True)
class DrillChoice:
    """What the sheet of drills shows; its chosen row is `View.row`.

    Attributes:
        stage: see `Stage`. wanted: kept drills and weak bars are to be read.
        shelf: they, once read. offers: the list.
        sheet: the drill whose numbers are changed or that is named, None in the list.
        title: what it is called there. places: where it may be moved to.
        kept_as: its name there where it is kept, "" where it is not.
        row_before: the list's row, to come back to.
        typed: the name so far. replaces: the name that enter, once more, would write over.
        saving: name and drill on their way to the disk; renamed: the name it had until then, ""
            where that one stays. sought: the row to go to when it is there.
        drops: the name of the kept drill that delete, once more, would let go of.
        dropping: the one that is to be deleted now. dropped: it, until that is done and said.
    """

    stage: Stage = "list"
    wanted: bool = False
    shelf: Shelf = EMPTY_SHELF
    offers: tuple[Offer, ...] = ()
    sheet: DrillSheet | None = None
    title: str = ""
    places: tuple[str, ...] = ()
    kept_as: str = ""
    row_before: int = 0
    typed: str = ""
    replaces: str = ""
    saving: tuple[str, DrillSheet] | None = None
    renamed: str = ""
    sought: str = ""
    drops: str = ""
    dropping: str = ""
    dropped: str = ""

    @property
    def fields(self) -> list[Field]:
        """The numbers that can be changed."""
        return list_fields(self.sheet, self.places) if self.sheet else []

    @property
    def has_name(self) -> bool:
        """A name is being typed: keys are letters."""
        return self.stage == "name"


#: The view afterwards, and what the session is told.
Done = tuple["View", tuple[Command, ...]]


def open_drills(view: View) -> View:
    """The sheet of drills, with what is known without reading; or away, where it is open."""
    if view.overlay == "drills":
        return replace(view, overlay="", drills=DrillChoice())
    snapshot = view.snapshot
    offers = list_offers(snapshot.arrangement, snapshot.span, snapshot.hands)
    return replace(view, overlay="drills", row=0, drills=DrillChoice(wanted=True, offers=offers))


def take_shelf(view: View, shelf: Shelf) -> View:
    """Kept drills and weak bars were read: the list with them, at the row where it was."""
    snapshot, was = view.snapshot, view.drills
    offers = list_offers(snapshot.arrangement, snapshot.span, snapshot.hands, shelf)
    now = replace(was, shelf=shelf, offers=offers, sought="", dropped="", renamed="")
    if was.sought:
        names = [one.name for one in offers]
        row = names.index(was.sought) if was.sought in names else 0
        now = replace(now, stage="list", sheet=None, typed="", replaces="")
        return replace(view, row=row, drills=now)
    if was.sheet is not None:
        places = list_places(snapshot.arrangement, snapshot.span, shelf.known)
        return replace(view, drills=replace(now, places=places))
    here = was.offers[view.row] if view.row < len(was.offers) else None
    titles = [one.title for one in offers]
    row = titles.index(here.title) if here and here.title in titles else 0
    return replace(view, drills=now, row=row)


def press_drills(view: View, key: str) -> Done | None:
    """What a key does on the sheet; None where it means what it means elsewhere."""
    if view.drills.drops and key not in DELETES:
        view = replace(view, drills=replace(view.drills, drops=""))
    if key in ROW_STEPS and view.drills.stage != "name":
        return _move(view, ROW_STEPS[key]), ()
    act = _KEYS[view.drills.stage].get(key)
    if act is not None:
        return act(view)
    return (view, ()) if view.drills.has_name else None


def type_text(view: View, text: str) -> View:
    """Letters come in: part of the name, where one is being typed."""
    drills = view.drills
    if view.overlay != "drills" or not drills.has_name or not text.isprintable():
        return view
    typed = (drills.typed + text)[:LONGEST_NAME]
    return replace(view, note="", drills=replace(drills, typed=typed, replaces=""))


def _move(view: View, step: int) -> View:
    """One step goes round, from the end to the beginning; longer ones stop at the ends."""
    drills = view.drills
    count = len(drills.offers) if drills.stage == "list" else len(drills.fields)
    if not count:
        return view
    if abs(step) == 1:
        return replace(view, row=(view.row + step) % count)
    return replace(view, row=min(max(view.row + step, 0), count - 1))


def _chosen(view: View) -> Offer | None:
    offers = view.drills.offers
    return offers[view.row] if view.row < len(offers) else None


def _begin_chosen(view: View) -> Done:
    offer = _chosen(view)
    if offer is None:
        return view, ()
    if offer.trouble:
        return replace(view, note=offer.trouble), ()
    return begin(view, offer.sheet)


def _begin_changed(view: View) -> Done:
    return begin(view, view.drills.sheet) if view.drills.sheet else (view, ())


def begin(view: View, sheet: DrillSheet) -> Done:
    """Begin a drill, and leave the sheet; where its places are not there, a line says so."""
    arrangement, again_by = view.snapshot.arrangement, view.preferences.again_by
    try:
        places = find_places(arrangement, sheet, view.drills.shelf.known)
    except UndersongError as error:
        return replace(view, note=str(error)), ()
    if sheet.gesture == "off":
        sheet = replace(sheet, gesture=again_by)
    told = {"sheet": sheet, "places": tuple(places), "arrangement": arrangement}
    done = replace(view, overlay="", row=0, note="", drills=DrillChoice())
    return done, (Command(CHOSEN, extra=told),)


def _open_numbers(view: View) -> Done:
    offer, snapshot, drills = _chosen(view), view.snapshot, view.drills
    if offer is None:
        return view, ()
    if offer.trouble and offer.name:  # one that cannot be read holds no numbers
        return replace(view, note=offer.trouble), ()
    places = list_places(snapshot.arrangement, snapshot.span, drills.shelf.known)
    now = replace(
        drills, stage="numbers", sheet=offer.sheet, title=offer.title, places=places,
        row_before=view.row, typed=offer.name, kept_as=offer.name,
    )  # fmt: skip
    return replace(view, row=0, note="", drills=now), ()


def _change(step: int) -> Callable[[View], Done]:
    def act(view: View) -> Done:
        drills = view.drills
        if drills.sheet is None:
            return view, ()
        name = drills.fields[view.row].name
        sheet = change_field(drills.sheet, name, step, drills.places)
        return replace(view, note="", drills=replace(drills, sheet=sheet)), ()

    return act


def _name_it(view: View) -> Done:
    """On to the name: of what is chosen in the list, or of what was changed."""
    if view.drills.stage == "list":
        opened, _ = _open_numbers(view)
        if opened.drills.stage == "list":
            return opened, ()
        view = opened
    return replace(view, note="", drills=replace(view.drills, stage="name")), ()


def _back(view: View) -> Done:
    """One step: from the name to the numbers, from there to the list, from there away."""
    drills = view.drills
    if drills.stage == "name":
        return replace(view, note="", drills=replace(drills, stage="numbers", replaces="")), ()
    if drills.stage == "numbers":
        now = replace(drills, stage="list", sheet=None, typed="")
        return replace(view, row=drills.row_before, note="", drills=now), ()
    return replace(view, overlay="", row=0, note="", drills=DrillChoice()), ()


def _erase(view: View) -> Done:
    drills = view.drills
    return replace(view, note="", drills=replace(drills, typed=drills.typed[:-1], replaces="")), ()


def _save(view: View) -> Done:
    """Save under what was typed; over one that has the name only when asked a second time."""
    drills = view.drills
    if drills.sheet is None:
        return view, ()
    try:
        name = check_new_name(drills.typed)
    except UndersongError as error:
        return replace(view, note=str(error)), ()
    taken = any(one.name.casefold() == name.casefold() for one in drills.shelf.kept)
    if taken and drills.replaces != name:
        note = f"“{name}” is there already: enter once more replaces it, other letters keep both"
        return replace(view, note=note, drills=replace(drills, replaces=name)), ()
    saving = (name, replace(drills.sheet, name=name))
    return replace(view, note="", drills=replace(drills, sought=name, saving=saving)), ()


def _rename(view: View) -> Done:
    """What was typed is the name from now on, and the one it had is free."""
    drills = view.drills
    if drills.sheet is None:
        return view, ()
    if not drills.kept_as:
        return replace(view, note="It has no name yet: enter saves it under this one"), ()
    try:
        old, name = check_new_name(drills.kept_as), check_new_name(drills.typed)
    except UndersongError as error:
        return replace(view, note=str(error)), ()
    others = (one.name.casefold() for one in drills.shelf.kept if one.name != old)
    if name == old:
        return replace(view, note="That is its name already: type another"), ()
    if name.casefold() in others:
        return replace(view, note=f"“{name}” is there already: type another name"), ()
    saving = (name, replace(drills.sheet, name=name))
    now = replace(drills, sought=name, saving=saving, renamed=old)
    return replace(view, note="", drills=now), ()


def _delete(view: View) -> Done:
    """Let go of the chosen kept drill, when asked a second time; only there is it the player's."""
    offer, drills = _chosen(view), view.drills
    if offer is None or not offer.name:
        return replace(view, note="Only a drill kept under a name can be deleted"), ()
    try:
        name = check_new_name(offer.name)
    except UndersongError as error:
        return replace(view, note=str(error)), ()
    if drills.drops != name:
        note = f"Once more deletes “{name}”; any other key keeps it"
        return replace(view, note=note, drills=replace(drills, drops=name)), ()
    return replace(view, note="", drills=replace(drills, drops="", dropping=name, dropped=name)), ()


_KEYS: dict[Stage, dict[str, Callable[[View], Done]]] = {
    "list": {"return": _begin_chosen, "right": _open_numbers, "tab": _name_it, "escape": _back,
             "left": lambda view: (view, ()), "space": _begin_chosen,
             **dict.fromkeys(DELETES, _delete)},
    "numbers": {"return": _begin_changed, "right": _change(1), "left": _change(-1),
                "tab": _name_it, "escape": _back},
    "name": {"return": _save, "tab": _rename, "backspace": _erase, "escape": _back},
}  # fmt: skip
