"""Engraving in a process of its own: verovio sets the page, resvg draws it, positions are kept.

Both libraries hold the interpreter lock while they work, so the program that hears the keyboard
never imports them: `practice.engrave` starts `practice.engraving.worker` and reads its files.
"""
