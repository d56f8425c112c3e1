"""The drills kept with the takes, for the window: read, and added to."""

from __future__ import annotations

from dataclasses import dataclass

from engine.arrangement import Arrangement
from engine.drill import DrillSheet
from practice.drills.kept_sheets import FOLDER, delete_sheet, keep_sheet, list_sheets, rename_sheet
from practice.drills.known import read_weaknesses
from practice.drills.offers import Shelf
from practice.environment import Places


@dataclass(frozen=True, slots=True)
class DrillShelf:
    """Reads from disk and writes to it: not for a thread that others wait for."""

    places: Places

    def read(self, arrangement: Arrangement) -> Shelf:
        """What there is for an arrangement now."""
        kept = list_sheets(self.places.data / FOLDER)
        return Shelf(read_weaknesses(self.places, arrangement), kept)

    def keep(self, name: str, sheet: DrillSheet) -> None:
        """Save a drill under a name.

        Raises:
            DrillError: not a name for it, or it cannot be written.
        """
        keep_sheet(self.places.data / FOLDER, name, sheet)

    def rename(self, old: str, new: str, sheet: DrillSheet) -> None:
        """Keep a drill, as it is given, under another name than before.

        Raises:
            DrillError: as `rename_sheet`.
        """
        rename_sheet(self.places.data / FOLDER, old, new, sheet)

    def delete(self, name: str) -> None:
        """Let go of a drill.

        Raises:
            DrillError: it is none of the player's own, or it cannot be deleted.
        """
        delete_sheet(self.places.data / FOLDER, name)
