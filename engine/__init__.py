"""The functional core of Undersong: no clock, no port, no window, no database.

Rooms: `read` (files to arrangements), `form` (what the page says), `follow` (which
note was which), `measure` (how it was played). See DEVELOPERS.md.
"""
