"""The shell of Undersong: everything that touches the world (ports, disk, window, sound)."""
