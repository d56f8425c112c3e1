"""What is heard: the built-in piano, the click, the other hand, and MIDI out."""
