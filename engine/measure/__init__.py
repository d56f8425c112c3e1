"""How it was played: one pure function a measure."""
