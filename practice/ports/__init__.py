"""MIDI in and out: ports watched and opened, names compared, strokes stamped."""
