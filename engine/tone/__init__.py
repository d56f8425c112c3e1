"""The built-in piano and click: a stated physical model, rendered with numpy. Pure: no sound card.

`strings` says what one key's strings do, `piano` renders all keys once, `voices` turns MIDI
messages into stereo samples, exactly and in order. Playing them aloud is the shell's work.
"""
