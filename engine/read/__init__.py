"""Files to arrangements: MusicXML, MXL and MIDI, told by content."""
